package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/notation"
	"singback/theory"
)

// Standard input and files are what they hold: the same line in every format, and a
// recording, get the same first key.
func TestFindKeyReadsWhatIsThere(t *testing.T) {
	key, err := theory.ParseKey("A major")
	if err != nil {
		t.Fatal(err)
	}
	const names = "la si do♯ re mi fa♯ sol♯ la mi do♯ la mi la"
	melody, err := theory.ParseMelody("do re mi fa sol la ti do sol mi do sol do", key, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	score, err := melody.Score(4, theory.Fraction{Num: 1, Den: 1})
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{"names": []byte(names + "\n")}
	for _, f := range []notation.Format{notation.ABC, notation.MusicXML, notation.MIDI} {
		var b bytes.Buffer
		if err := notation.Write(&b, score, f); err != nil {
			t.Fatal(err)
		}
		files[f.String()] = b.Bytes()
	}
	want, _, code := user{}.runs(t, "findkey", names)
	if code != exitDone || !strings.HasPrefix(want, "1  A major ") {
		t.Fatalf("typed names: %d %q", code, want)
	}
	dir := t.TempDir()
	for name, b := range files {
		path := filepath.Join(dir, name+".dat") // the ending says nothing
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, u := range []struct {
			user
			arg string
		}{{user{stdin: string(b)}, "-"}, {user{}, path}} {
			if got, stderr, code := u.runs(t, "findkey", u.arg); got != want || code != exitDone {
				t.Errorf("%s as %s: %d %q, %q; want %q", name, u.arg, code, got, stderr, want)
			}
		}
	}
	wav, err := os.ReadFile("../../testdata/wav/la-eb-major-tenor.wav")
	if err != nil {
		t.Fatal(err)
	}
	if out, stderr, code := (user{stdin: string(wav)}).runs(t, "findkey", "-"); code != exitDone || !strings.Contains(stderr, "1 note, as a whole ") || out == "" {
		t.Errorf("a recording: %d %q %q", code, out, stderr)
	}
	for in, problem := range map[string]string{"": "no notes", "\x00\x01": "standard input: ", "X:1\nK:C\n": "no notes", "RIFF\x00\x00\x00\x00WAVE": "standard input"} {
		if _, stderr, code := (user{stdin: in}).runs(t, "findkey", "-"); code != exitFailed || !strings.Contains(stderr, problem) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%q: %d %q", in, code, stderr)
		}
	}
	if _, stderr, code := (user{}).runs(t, "findkey", dir); code != exitFailed || !strings.Contains(stderr, "is a folder") {
		t.Errorf("a folder: %d %q", code, stderr)
	}
}
