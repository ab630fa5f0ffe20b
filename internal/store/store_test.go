package store

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/kept"
	"singback/internal/testkit/invented"
)

// The test binary stands in for a program that is killed while it saves: the
// folder and the number of steps before the end come from the environment.
func TestMain(m *testing.M) {
	if path := os.Getenv("SINGBACK_TEST_DRILL"); path != "" {
		drill(path) // a drill that is killed: see TestKilled
		return
	}
	if path := os.Getenv("SINGBACK_TEST_MIGRATE"); path != "" {
		migrate(path)
		return
	}
	if dir := os.Getenv("STORE_TEST_KILL"); dir != "" {
		left, _ := strconv.Atoi(os.Getenv("STORE_TEST_STEPS"))
		s := NewSingers(dir)
		s.step = func(string) {
			if left--; left < 0 {
				os.Exit(9) // nothing is cleaned up
			}
		}
		p := invented.Profile()
		p.Instrument.A4 = 443
		if _, err := s.Save(p); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func folderOf(t *testing.T, s *Singers) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(s.dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(s.dir, path)
			all = append(all, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// text is the profile as it is kept.
func text(t *testing.T) string {
	t.Helper()
	data, err := kept.EncodeProfile(invented.Profile())
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func save(t *testing.T, s *Singers, p calib.Profile) {
	t.Helper()
	if _, err := s.Save(p); err != nil {
		t.Fatal(err)
	}
}

func TestSaveKeepsOldOnes(t *testing.T) {
	s := NewSingers(filepath.Join(t.TempDir(), "new", "folder"))
	p := invented.Profile()
	save(t, s, p)
	if changed, err := s.Save(p); changed || err != nil {
		t.Errorf("the same profile was written again: %v", err)
	}
	for i := range 8 {
		p.Instrument.A4 = float64(430 + i)
		save(t, s, p)
	}
	want := []string{
		"singers/Wilma T.toml", "singers/old/Wilma T.0004.toml", "singers/old/Wilma T.0005.toml",
		"singers/old/Wilma T.0006.toml", "singers/old/Wilma T.0007.toml", "singers/old/Wilma T.0008.toml",
	}
	if got := folderOf(t, s); !slices.Equal(got, want) {
		t.Errorf("files %q, want %q", got, want)
	}
	if last, err := ReadFile(filepath.Join(s.old(), "Wilma T.0008.toml")); err != nil || last.Instrument.A4 != 436 {
		t.Errorf("the newest of the older ones has %+v, %v", last.Instrument, err)
	}
	info, err := os.Stat(s.Path("Wilma T"))
	if err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("mode %v, %v: want a file that only its owner reads", info.Mode(), err)
	}
	// The case of a name's letters makes no other singer.
	p.Name, p.Instrument.A4 = "WILMA t", 441
	save(t, s, p)
	if got, err := s.Load("wilma T"); err != nil || got.Name != "Wilma T" || got.Instrument.A4 != 441 {
		t.Errorf("%+v, %v", got, err)
	}
}

// A program that is killed before any step of saving leaves the old or the new
// profile whole, no older one is lost, and the next one saves as if nothing had
// been.
func TestKilledWhileSaving(t *testing.T) {
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ended := false
	for steps := 0; !ended && steps < 50; steps++ {
		s := NewSingers(t.TempDir())
		p := invented.Profile()
		for i := range Kept + 1 { // so that the oldest must go
			p.Instrument.A4 = float64(430 + i)
			save(t, s, p)
		}
		before, err := os.ReadFile(s.Path(p.Name))
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(exe)
		cmd.Env = append(os.Environ(), "STORE_TEST_KILL="+s.dir, fmt.Sprint("STORE_TEST_STEPS=", steps))
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		switch {
		case err == nil:
			ended = true
		case !errors.As(err, &exit) || exit.ExitCode() != 9:
			t.Fatalf("after %d steps: %v: %s", steps, err, out)
		}
		after, err := os.ReadFile(s.Path(p.Name))
		if err != nil {
			t.Fatalf("after %d steps: %v", steps, err)
		}
		got, err := kept.DecodeProfile(after)
		if err != nil || !bytes.Equal(after, before) && got.Instrument.A4 != 443 {
			t.Errorf("after %d steps the file has\n%s\n%v", steps, after, err)
		}
		all, err := s.versions(p.Name)
		if err != nil || len(all) < Kept {
			t.Errorf("after %d steps: %d older ones, %v", steps, len(all), err)
		}
		for _, v := range all {
			if _, err := ReadFile(v.path); err != nil {
				t.Errorf("after %d steps: %v", steps, err)
			}
		}
		names, err := s.Names()
		if err != nil || !slices.Equal(names, []string{p.Name}) {
			t.Errorf("after %d steps: singers %q, %v", steps, names, err)
		}
		p.Instrument.A4 = 444
		save(t, s, p)
		all, _ = s.versions(p.Name)
		if got, err := s.Load(p.Name); err != nil || got.Instrument.A4 != 444 || len(all) != Kept {
			t.Errorf("after %d steps, saved again: %+v, %v, %d older ones", steps, got.Instrument, err, len(all))
		}
		if deleted, err := s.Forget(p.Name); err != nil || len(folderOf(t, s)) != 0 {
			t.Errorf("after %d steps, forgotten: %q are left, %v", steps, folderOf(t, s), err)
		} else if len(deleted) < Kept+1 {
			t.Errorf("after %d steps: deleted only %q", steps, deleted)
		}
	}
	if !ended {
		t.Error("saving never came to an end")
	}
}

// A file that cannot be read is moved aside, and nothing ever takes its place
// or that of another that was moved aside.
func TestSetAside(t *testing.T) {
	s := NewSingers(t.TempDir())
	p := invented.Profile()
	p.Instrument.A4 = 430
	save(t, s, p)
	p.Instrument.A4 = 431
	save(t, s, p)
	spoil := func(text string) {
		t.Helper()
		if err := os.WriteFile(s.Path(p.Name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	spoil("first damage")
	_, err := s.Load(p.Name)
	if err == nil || !errors.Is(err, ErrDamaged) {
		t.Fatalf("read: %v", err)
	}
	for _, want := range []string{"line 1", "moved aside to " + s.Path(p.Name) + ".damaged", "Wilma T.0001.toml"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
	if _, err := s.Load(p.Name); !errors.Is(err, ErrUnknown) {
		t.Errorf("after that: %v, want no such singer", err)
	}
	spoil("second damage")
	save(t, s, p) // saving sees to it too
	spoil(strings.Replace(text(t), "version = 1", "version = 7", 1))
	if _, err := s.Load(p.Name); !errors.Is(err, ErrNewer) {
		t.Errorf("newer: %v", err)
	}
	spoil(strings.Replace(text(t), "Wilma T", "Other", 1))
	if _, err := s.Load(p.Name); !errors.Is(err, ErrDamaged) {
		t.Errorf("the profile of somebody else: %v", err)
	}
	for path, want := range map[string]string{".damaged": "first damage", ".damaged2": "second damage", ".damaged3": "Other", ".newer": "version = 7"} {
		if got, err := os.ReadFile(s.Path(p.Name) + path); err != nil || !strings.Contains(string(got), want) {
			t.Errorf("%s has %q, %v", path, got, err)
		}
	}
	// Peek and ReadFile move nothing.
	spoil("third damage")
	if _, err := s.Peek(p.Name); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	if got, err := os.ReadFile(s.Path(p.Name)); err != nil || string(got) != "third damage" {
		t.Errorf("%q, %v", got, err)
	}
}

func TestCurrent(t *testing.T) {
	s := NewSingers(t.TempDir())
	current := func(want string) {
		t.Helper()
		if got, err := s.Current(); got != want || err != nil {
			t.Errorf("current %q, %v, want %q", got, err, want)
		}
	}
	current("")
	p := invented.Profile()
	save(t, s, p)
	current("Wilma T") // the only one
	p.Name = "anton"
	save(t, s, p)
	current("")
	if err := s.Use("ANTON"); err != nil {
		t.Fatal(err)
	}
	current("anton")
	if err := s.Use("berta"); !errors.Is(err, ErrUnknown) || !strings.Contains(err.Error(), "anton, Wilma T") {
		t.Errorf("%v", err)
	}
	current("anton")
	if err := s.Use(Nobody); err != nil {
		t.Fatal(err)
	}
	current(Nobody)
	if err := s.Use("anton"); err != nil {
		t.Fatal(err)
	}
	if deleted, err := s.Forget("Anton"); err != nil || len(deleted) != 1 {
		t.Errorf("%q, %v", deleted, err)
	}
	current("Wilma T")
	if _, err := s.Forget("anton"); !errors.Is(err, ErrUnknown) {
		t.Error(err)
	}
	// Rubbish in the file that says who is singing names nobody.
	if err := os.WriteFile(s.choice(), bytes.Repeat([]byte("x\x00"), kept.MaxProfile), 0o600); err != nil {
		t.Fatal(err)
	}
	current("Wilma T")
	if _, err := NewSingers("").Current(); !errors.Is(err, ErrNoFolder) {
		t.Error(err)
	}
}

// Forgetting one singer leaves those alone whose names begin alike.
func TestForgetOnlyOne(t *testing.T) {
	s := NewSingers(t.TempDir())
	for _, name := range []string{"an", "anna", "an na"} {
		p := invented.Profile()
		p.Name = name
		save(t, s, p)
		p.Instrument.A4 = 431
		save(t, s, p)
	}
	if _, err := s.Forget("an"); err != nil {
		t.Fatal(err)
	}
	want := []string{"singers/an na.toml", "singers/anna.toml", "singers/old/an na.0001.toml", "singers/old/anna.0001.toml"}
	if got := folderOf(t, s); !slices.Equal(got, want) {
		t.Errorf("left %q, want %q", got, want)
	}
}
