package newfile

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, s)
		return err
	}
}

// A file that is there stays unless force says otherwise, what fails half-way leaves
// neither the file nor a part of it, and what was there before is still whole.
func TestWholeOrNotThere(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	holds := func(want string, files int) {
		t.Helper()
		got, _ := os.ReadFile(path)
		list, err := os.ReadDir(dir)
		if string(got) != want || len(list) != files || err != nil {
			t.Errorf("the file holds %q, %d files in the folder, %v; want %q and %d", got, len(list), err, want, files)
		}
	}
	broken := errors.New("broken")
	half := func(w io.Writer) error {
		io.WriteString(w, "half")
		return broken
	}
	if err := Write(path, false, ForAll, half); !errors.Is(err, broken) {
		t.Error(err)
	}
	holds("", 0)
	if err := Write(path, false, ForOwner, text("first")); err != nil {
		t.Error(err)
	}
	holds("first", 1)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 && filepath.Separator == '/' {
		t.Errorf("what is the owner's alone has the mode %v, %v", info.Mode(), err)
	}
	if err := Write(path, false, ForAll, text("second")); !errors.Is(err, ErrThere) {
		t.Error(err)
	}
	if err := Write(path, true, ForAll, half); !errors.Is(err, broken) {
		t.Error(err)
	}
	holds("first", 1)
	if err := Write(path, true, ForAll, text("second")); err != nil {
		t.Error(err)
	}
	holds("second", 1)
}

// A file that came to be there while another was being written stays, too.
func TestTakenMeanwhile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.txt")
	err := Write(path, false, ForAll, func(w io.Writer) error {
		return errors.Join(text("mine")(w), os.WriteFile(path, []byte("theirs"), 0o600))
	})
	if got, _ := os.ReadFile(path); !errors.Is(err, ErrThere) || string(got) != "theirs" {
		t.Errorf("%q, %v", got, err)
	}
}

// Of several files none is written where one may not be.
func TestWriteAll(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	name := func(i int) string { return string(rune('a'+i)) + ".txt" }
	write := func(i int, w io.Writer) error { return text(name(i))(w) }
	if err := WriteAll(dir, 3, name, false, ForAll, write); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "a.txt")); err != nil {
		t.Fatal(err)
	}
	if err := WriteAll(dir, 3, name, false, ForAll, write); !errors.Is(err, ErrThere) {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "a.txt")); err == nil {
		t.Error("the first was written, and the second may not be")
	}
}

// A stream is written into as it is; a folder is no file.
func TestWhatIsNoFile(t *testing.T) {
	var out bytes.Buffer
	if err := Stream(&out).Fill(text("x")); err != nil || out.String() != "x" {
		t.Errorf("%q, %v", out.String(), err)
	}
	if err := Check(t.TempDir(), true); err == nil {
		t.Error("a folder can be written")
	}
}
