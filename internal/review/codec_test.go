package review

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/testkit"
)

// coders are what sends takes: phones, messengers and browsers, at the rates they use
// (common practice), as commands that make of a WAV a file of the name.
var coders = []struct {
	name    string
	command []string
}{
	{"take.flac", []string{"ffmpeg", "-i", "IN", "OUT"}},
	{"take.ogg", []string{"ffmpeg", "-i", "IN", "-c:a", "libvorbis", "-q:a", "1", "OUT"}},
	{"16k.opus", []string{"ffmpeg", "-i", "IN", "-c:a", "libopus", "-b:a", "16k", "-application", "voip", "OUT"}},
	{"24k.opus", []string{"ffmpeg", "-i", "IN", "-c:a", "libopus", "-b:a", "24k", "OUT"}},
	{"64k.mp3", []string{"ffmpeg", "-i", "IN", "-c:a", "libmp3lame", "-b:a", "64k", "OUT"}},
	{"64k.m4a", []string{"ffmpeg", "-i", "IN", "-c:a", "aac", "-b:a", "64k", "OUT"}},
	{"24k.webm", []string{"ffmpeg", "-i", "IN", "-c:a", "libopus", "-b:a", "24k", "OUT"}},
	{"12k.amr", []string{"sox", "-V1", "IN", "-r", "8000", "-c", "1", "-t", "amr-nb", "-C", "7", "OUT"}},
}

// coded is what a coder makes of a WAV.
func coded(t testing.TB, wav, out string, command []string) {
	t.Helper()
	args := slices.Clone(command)
	testkit.Tool(t, args[0])
	for i, a := range args {
		switch a {
		case "IN":
			args[i] = wav
		case "OUT":
			args[i] = out
		}
	}
	if args[0] == "ffmpeg" {
		args = slices.Insert(args, 1, "-nostdin", "-v", "error", "-y")
	}
	if said, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", args, err, said)
	}
}

// off is how far notes are from those of the WAV.
type off struct {
	takes, notes, found, more int
	within                    int       // a cent and 20 ms
	cents, onset              []float64 // ms
}

func (o *off) compare(want, got []grade.Sung) {
	o.takes++
	o.notes += len(want)
	for _, w := range want {
		for _, n := range got {
			if math.Abs(n.Onset-w.Onset) < .06 {
				o.found++
				o.cents = append(o.cents, math.Abs(n.Cents-w.Cents))
				o.onset = append(o.onset, 1000*math.Abs(n.Onset-w.Onset))
				if math.Abs(n.Cents-w.Cents) <= 1 && math.Abs(n.Onset-w.Onset) <= .02 {
					o.within++
				}
				break
			}
		}
	}
	o.more += max(0, len(got)-len(want))
}

func (o *off) String() string {
	slices.Sort(o.cents)
	slices.Sort(o.onset)
	at := func(x []float64, q float64) float64 {
		if len(x) == 0 {
			return 0
		}
		return x[int(q*float64(len(x)-1))]
	}
	return fmt.Sprintf("%3d takes, %3d of %3d notes, %2d more, %3d within a cent and 20 ms; cents median %.2f, 95 %% %.2f, most %.2f; onset ms median %.1f, 95 %% %.1f, most %.1f",
		o.takes, o.found, o.notes, o.more, o.within, at(o.cents, .5), at(o.cents, .95), at(o.cents, 1), at(o.onset, .5), at(o.onset, .95), at(o.onset, 1))
}

// A take that came through a phone's or a messenger's codec is heard as the recording
// was: the notes within a cent, their onsets within 20 ms. With SINGBACK_CODECS=all all of
// testdata/wav and of the voices of SINGBACK_REFERENCE are tried, and what comes out is
// printed.
func TestTakesThroughCodecs(t *testing.T) {
	wavs := []string{"../../testdata/wav/fa-fsharp-major-bass.wav", "../../testdata/wav/le-fsharp-minor-soprano.wav"}
	all := os.Getenv("SINGBACK_CODECS") == "all"
	if all {
		wavs, _ = filepath.Glob("../../testdata/wav/*.wav")
		voices, _ := filepath.Glob(filepath.Join(os.Getenv("SINGBACK_REFERENCE"), "voices", "*.wav"))
		wavs = append(wavs, voices...)
	}
	want := make([]grade.Performance, len(wavs))
	for i, wav := range wavs {
		var err error
		if want[i], err = (Reader{}).Read(context.Background(), wav); err != nil {
			t.Fatal(err)
		}
	}
	for k, c := range coders {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			var sum off
			for i, wav := range wavs {
				if !all && i != k%2 {
					continue
				}
				path := filepath.Join(dir, c.name)
				coded(t, wav, path, c.command)
				got, err := Reader{}.Read(context.Background(), path)
				if err != nil {
					t.Error(err)
					continue
				}
				sum.compare(want[i].Notes, got.Notes)
				if all {
					var one off
					if one.compare(want[i].Notes, got.Notes); len(want[i].Notes) != len(got.Notes) || one.found < one.notes || one.notes > 0 && slices.Max(one.cents) > 1 {
						t.Log(filepath.Base(wav), one.String())
					}
					continue
				}
				if len(got.Notes) != len(want[i].Notes) {
					t.Errorf("%s: %d notes, want %d", wav, len(got.Notes), len(want[i].Notes))
					continue
				}
				for k, n := range got.Notes {
					w := want[i].Notes[k]
					if math.Abs(n.Cents-w.Cents) > 1 || math.Abs(n.Onset-w.Onset) > .02 {
						t.Errorf("%s, note %d: %.2f cents and %.1f ms from that of the WAV", wav, k+1, n.Cents-w.Cents, 1000*(n.Onset-w.Onset))
					}
				}
			}
			t.Log(sum.String())
		})
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
	// Several at once read it, and it is closed by the last.
	if err := Each(context.Background(), 8, func(ctx context.Context, i int) (grade.Performance, error) {
		return Reader{}.Read(ctx, got[i%len(got)])
	}, func(_ int, p grade.Performance, err error) error {
		if err == nil && len(p.Notes) == 0 {
			err = errors.New("no note")
		}
		return err
	}); err != nil {
		t.Error(err)
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
