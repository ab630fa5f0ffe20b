package review

import (
	"archive/zip"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// A take that came through a phone's or a messenger's codec is heard as the recording
// was: the notes within a cent, their onsets within 20 ms.
func TestTakesThroughCodecs(t *testing.T) {
	testkit.Tool(t, "ffmpeg")
	for _, name := range []string{"fa-fsharp-major-bass", "le-fsharp-minor-soprano"} {
		throughCodecs(t, "../../testdata/wav/"+name+".wav")
	}
}

func throughCodecs(t *testing.T, wav string) {
	t.Helper()
	want, err := Reader{}.Read(context.Background(), wav)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, args := range map[string][]string{
		"take.flac": nil,
		"take.ogg":  {"-c:a", "libvorbis", "-q:a", "1"},
		"take.opus": {"-c:a", "libopus", "-b:a", "24k"},
		"take.mp3":  {"-c:a", "libmp3lame", "-b:a", "64k"},
		"take.m4a":  {"-c:a", "aac", "-b:a", "64k"},
		"take.webm": {"-c:a", "libopus", "-b:a", "24k"},
	} {
		path := filepath.Join(dir, name)
		if out, err := exec.Command("ffmpeg", append(append([]string{"-nostdin", "-v", "error", "-i", wav}, args...), path)...).CombinedOutput(); err != nil {
			t.Fatalf("ffmpeg: %v: %s", err, out)
		}
		got, err := Reader{}.Read(context.Background(), path)
		if err != nil {
			t.Error(err)
			continue
		}
		if len(got.Notes) != len(want.Notes) {
			t.Errorf("%s of %s: %d notes, want %d", name, wav, len(got.Notes), len(want.Notes))
			continue
		}
		for i, n := range got.Notes {
			w := want.Notes[i]
			if math.Abs(n.Cents-w.Cents) > 1 || math.Abs(n.Onset-w.Onset) > .02 {
				t.Errorf("%s of %s, note %d: %.2f cents and %.1f ms from that of the WAV", name, wav, i+1, n.Cents-w.Cents, 1000*(n.Onset-w.Onset))
			}
		}
	}
}

// A zip is taken as its files, and what is in it and no recording is named.
func TestSpreadZip(t *testing.T) {
	take, err := os.ReadFile("../../testdata/wav/do-c-major-tenor.wav")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "week 3.zip")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(f)
	add := func(name string, b []byte) {
		w, err := z.Create(name)
		if err == nil {
			_, err = w.Write(b)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	add("ana.wav", take)
	add("altos/ana.wav", take)
	add("ana.wav", take)
	add("../out.wav", take)
	add("letter.txt", []byte("Here is my take."))
	add("bomb.wav", append(slices.Clone(take[:44]), make([]byte, 100<<20)...))
	add("__MACOSX/._ana.wav", []byte("x"))
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	var over []string
	got, err := Spread([]string{path}, func(folder string, names []string) { over = append(over, names...) })
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{path + "/ana.wav", path + "/altos/ana.wav"}; !slices.Equal(got, want) {
		t.Errorf("recordings %q, want %q", got, want)
	}
	said := strings.Join(over, "\n")
	for _, want := range []string{"ana.wav (a second file of that name)", "../out.wav (its path leads out of the zip)", "letter.txt (not a recording)", "bomb.wav (unpacks to 100 MB from"} {
		if !strings.Contains(said, want) {
			t.Errorf("passed over %q, want %q among it", over, want)
		}
	}
	for _, p := range got {
		if _, err := (Reader{}).Read(context.Background(), p); err != nil {
			t.Error(err)
		}
	}
	for _, name := range []string{"nobody.wav", "bomb.wav", "../out.wav"} {
		if _, err := (Reader{}).Read(context.Background(), path+"/"+name); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Half sent, it is one line.
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b[:len(b)/2], 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Spread([]string{path}, nil); err == nil || !strings.Contains(err.Error(), "half sent") {
		t.Errorf("%v", err)
	}
	// Foreign sounds in a zip go through a file that does not stay.
	if _, err := exec.LookPath("ffmpeg"); err == nil {
		aiff := filepath.Join(t.TempDir(), "a.aiff")
		if out, err := exec.Command("ffmpeg", "-nostdin", "-v", "error", "-i", "../../testdata/wav/do-c-major-tenor.wav", aiff).CombinedOutput(); err != nil {
			t.Fatal(string(out))
		}
		b, err := os.ReadFile(aiff)
		if err != nil {
			t.Fatal(err)
		}
		tmp := t.TempDir()
		t.Setenv("TMPDIR", tmp)
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		z = zip.NewWriter(f)
		add("a.aiff", b)
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		f.Close()
		p, err := Reader{}.Read(context.Background(), path+"/a.aiff")
		left, _ := os.ReadDir(tmp)
		if err != nil || len(p.Notes) == 0 || len(left) > 0 {
			t.Errorf("%d notes, %v; left behind: %s", len(p.Notes), err, fmt.Sprint(left))
		}
	}
}
