package page

import (
	"maps"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"singback/internal/store"
	"singback/internal/testkit"
)

// On a disk that is full, or whose record must not be changed, an answer is refused in
// these words, what was acknowledged is there, and it goes on when there is room.
func TestFullDisk(t *testing.T) {
	dir, done := testkit.OnSmallDisk(t)
	if done {
		return
	}
	s := served(t)
	s.home.Record = filepath.Join(dir, "record.db")
	free := testkit.FillDisk(t, dir)
	refusedWith(t, "before there is a record", s.ask("POST", "data/answers", rows(t, 10)), 507, "the disk is full", "make room")
	free()
	says(t, "with room", s.ask("POST", "data/answers", rows(t, 10)), `{"read":10,"added":10}`)
	free = testkit.FillDisk(t, dir)
	refusedWith(t, "when it has become full", s.ask("POST", "data/answers", rows(t, 800)), 507, "the disk is full", "make room")
	if w := s.ask("GET", "data/record", ""); w.Code != 200 || w.Body.String() != exported(t, s.home.Record, store.CSV) || strings.Count(w.Body.String(), "\n") != 11 {
		t.Errorf("reading needs no room: %d, %.200s", w.Code, w.Body)
	}
	free()
	says(t, "with room again", s.ask("POST", "data/answers", rows(t, 20)), `{"read":20,"added":10}`)
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	refusedWith(t, "on a disk to read", s.ask("POST", "data/answers", rows(t, 30)), 500, "it cannot be written: the file or its folder is read-only", "--record")
	if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT, ""); err != nil {
		t.Fatal(err)
	}
	// A page that does not fit is not written at all.
	free = testkit.FillDisk(t, dir)
	before := listing(t, dir)
	if _, err := site(t).WriteFolder(filepath.Join(dir, "page"), false); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("the page on a full disk: %v", err)
	}
	if after := listing(t, dir); len(after) != len(before) {
		t.Errorf("%d things became %d", len(before), len(after))
	}
	free()
	short := site(t) // the handbook is more than the disk holds
	maps.DeleteFunc(short.files, func(name string, _ file) bool { return later(name) })
	if _, err := short.WriteFolder(filepath.Join(dir, "page"), false); err != nil {
		t.Error(err)
	}
}
