package store

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/calib"
	"singback/theory"
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
		p := full()
		p.Instrument.A4 = 443
		if _, err := s.Save(p); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// full is an invented singer, of whom everything is known.
func full() calib.Profile {
	day := calib.Date{Year: 2026, Month: 11, Day: 25}
	return calib.Profile{
		Version: calib.Version, Name: "Wilma T", Made: day,
		Voice: &calib.Voice{
			Date: day, Kind: "alto", Comfortable: theory.Range{Low: 53, High: 72}, Tessitura: theory.Range{Low: 57, High: 67},
			Notes: 12, Error: 18.25, Spread: 9.5,
		},
		Room: &calib.Room{
			Date: day, Floor: -61.5, Gate: -52, Hum: 50, Fan: true, Voice: -24, Peak: -9.1,
			LeakTried: true, Leaks: true, Leak: -31.5, Delay: 0.0425,
		},
		Instrument: &calib.Instrument{Date: day, A4: 442.07, SE: 0.4, Notes: 5},
	}
}

// What a singer finds in the file.
const fullText = `# What singback knows of a singer: the voice, the room and the microphone, the
# instrument. It may be edited. Notes are like C3, Bb3 or F#4 (C4 is middle C),
# levels are in dBFS, which says nothing of dB SPL. A part that is missing is not
# known.

# of this kind of file
version = 1
name = 'Wilma T'
# day of the last change
made = 2026-11-25

[voice]
date = 2026-11-25
# true: as the singer said; false: measured
stated = false
# what the singer calls it
kind = 'alto'
# a child's or changing voice, to be tested again after 6 to 8 weeks
growing = false
# lowest and highest comfortable note
comfortable = ['F3', 'C5']
# where the voice lies most at ease
tessitura = ['A3', 'G4']
# how many sung notes the two numbers below rest on
notes = 12
# median distance of a note from the one asked, in cents
error_cents = 18.25
# median standard deviation within a held note, in cents
spread_cents = 9.5

[room]
date = 2026-11-25
# level when nobody sings
floor_dbfs = -61.5
# what lies below is not the singer
gate_dbfs = -52.0
# 50 or 60 where the mains hum, else 0
hum_hz = 50.0
# steady broadband noise
fan = true
# level of the singer at ease
voice_dbfs = -24.0
# highest peak of the singer at ease
peak_dbfs = -9.1
# the singer at ease overloaded the microphone
clipped = false
# whether a test sound was played
leak_tried = true
# the microphone hears the loudspeaker
leaks = true
# how loud the test sound came back, in dB against what was played
leak_db = -31.5
# from playback to capture, in seconds; 0 where it was not heard
delay_s = 0.0425

[instrument]
date = 2026-11-25
# its tuning, in Hz
a4_hz = 442.07
# standard error of that, in cents
se_cents = 0.4
# how many notes it rests on; 0: as the singer said
notes = 5
`

func TestFileIsReadable(t *testing.T) {
	data, err := Encode(full())
	if err != nil {
		t.Fatal(err)
	}
	if string(data) != fullText {
		t.Errorf("got\n%s\nwant\n%s", data, fullText)
	}
	p, err := Decode(data)
	if err != nil || !reflect.DeepEqual(p, full()) {
		t.Errorf("read back as %+v, %v", p, err)
	}
	// What a person writes: other spellings of notes, no comments, parts left out.
	p, err = Decode([]byte("version = 1\nname = \"Zoë\"\nmade = 2026-01-02\n[voice]\ndate = 2026-01-02\nstated = true\ncomfortable = [\"B♭2\", \"Gb4\"]\n"))
	if err != nil || p.Name != "Zoë" || p.Voice.Comfortable != (theory.Range{Low: 46, High: 66}) || !p.Voice.Stated || p.Room != nil || p.Instrument != nil {
		t.Errorf("%+v, %v", p, err)
	}
}

// Any valid profile, with numbers as finely as the file keeps them, is read
// back as itself.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(label string, low, high, digits int) float64 {
			scale := 1
			for range digits {
				scale *= 10
			}
			return float64(rapid.IntRange(low*scale, high*scale).Draw(t, label)) / float64(scale)
		}
		flag := rapid.Bool()
		day := calib.Date{Year: rapid.IntRange(1900, 9999).Draw(t, "year"), Month: rapid.IntRange(1, 12).Draw(t, "month"), Day: rapid.IntRange(1, 28).Draw(t, "day")}
		p := calib.Profile{Version: 1, Name: rapid.StringMatching(`[A-Za-zäé0-9][A-Za-z0-9 _-]{0,20}x`).Filter(func(s string) bool { return CheckName(s) == nil }).Draw(t, "name"), Made: day}
		if flag.Draw(t, "voice") {
			low := rapid.IntRange(21, 90).Draw(t, "low")
			high := rapid.IntRange(low, 108).Draw(t, "high")
			v := &calib.Voice{
				Date: day, Stated: flag.Draw(t, "stated"), Kind: rapid.SampledFrom([]string{"", "tenor", "child"}).Draw(t, "kind"),
				Growing: flag.Draw(t, "growing"), Comfortable: theory.Range{Low: low, High: high},
				Notes: rapid.IntRange(0, 99).Draw(t, "n"), Error: number("error", 0, 400, 2), Spread: number("spread", 0, 400, 2),
			}
			if flag.Draw(t, "tessitura") {
				v.Tessitura = theory.Range{Low: low + (high-low)/4, High: high - (high-low)/4}
			}
			p.Voice = v
		}
		if flag.Draw(t, "room") {
			p.Room = &calib.Room{
				Date: day, Floor: number("floor", -120, 0, 1), Gate: number("gate", -120, -20, 1), Hum: rapid.SampledFrom([]float64{0, 50, 60}).Draw(t, "hum"),
				Fan: flag.Draw(t, "fan"), Voice: number("level", -120, 0, 1), Peak: number("peak", -120, 6, 1), Clipped: flag.Draw(t, "clipped"),
				LeakTried: flag.Draw(t, "tried"), Leaks: flag.Draw(t, "leaks"), Leak: number("leak", -100, 10, 1), Delay: number("delay", 0, 5, 4),
			}
		}
		if flag.Draw(t, "instrument") {
			p.Instrument = &calib.Instrument{Date: day, A4: number("a4", 392, 494, 4), SE: number("se", 0, 9, 2), Notes: rapid.IntRange(0, 9).Draw(t, "keys")}
		}
		data, err := Encode(p)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(data)
		if err != nil || !reflect.DeepEqual(got, p) {
			t.Fatalf("%+v became\n%s\nand was read as %+v, %v", p, data, got, err)
		}
	})
}

// Every bad file gets one line that names the place and the field.
func TestBadFiles(t *testing.T) {
	replaced := func(old, new string) string {
		if !strings.Contains(fullText, old) {
			t.Fatalf("%q is not in the file", old)
		}
		return strings.Replace(fullText, old, new, 1)
	}
	for _, c := range []struct {
		name, text string
		want       []string
		newer      bool
	}{
		{"empty", "", []string{"it is empty"}, false},
		{"blank", " \n\n", []string{"it is empty"}, false},
		{"no version", strings.Replace(fullText, "version = 1\n", "", 1), []string{"version: 0"}, false},
		{"newer", replaced("version = 1", "version = 2\nmood = 'fine'"), []string{"line 7", "version 2", "reads 1"}, true},
		{"not TOML", "PK\x03\x04 rubbish", []string{"line 1"}, false},
		{"another file", "<html>\n", []string{"line 1"}, false},
		{"cut in a string", fullText[:strings.Index(fullText, "lma")], []string{"line 8"}, false},
		{"cut after the name", fullText[:strings.Index(fullText, "# day")], []string{"made: 0000-00-00 is no day"}, false},
		{"unknown field", replaced("kind =", "kindness ="), []string{"line 17", "voice.kindness"}, false},
		{"a word for a number", replaced("gate_dbfs = -52.0", "gate_dbfs = 'low'"), []string{"line 36", "room.gate_dbfs: the value is of kind string, want a number"}, false},
		{"no note", replaced("'F3'", "'H3'"), []string{"line 21", "voice.comfortable", "H3"}, false},
		{"three notes", replaced("'F3',", "'F3', 'G3',"), []string{"line 21", "3 notes"}, false},
		{"upside down", replaced("['F3', 'C5']", "['C5', 'F3']"), []string{"line 21", "lowest note lies above"}, false},
		{"tessitura outside", replaced("['A3', 'G4']", "['A2', 'G4']"), []string{"line 23", "voice.tessitura"}, false},
		{"beyond voices", replaced("'F3'", "'F0'"), []string{"line 21", "A0 to C8"}, false},
		{"no voice", replaced("'alto'", "'kazoo'"), []string{"line 17", "voice.kind", "kazoo"}, false},
		{"a gate that shuts all out", replaced("gate_dbfs = -52.0", "gate_dbfs = -3"), []string{"line 36", "room.gate_dbfs", "-120 to -20"}, false},
		{"not a number", replaced("gate_dbfs = -52.0", "gate_dbfs = nan"), []string{"room.gate_dbfs"}, false},
		{"endless", replaced("delay_s = 0.0425", "delay_s = inf"), []string{"room.delay_s"}, false},
		{"too great", replaced("notes = 12", "notes = 99999999999999999999"), []string{"line 25"}, false},
		{"no mains", replaced("hum_hz = 50.0", "hum_hz = 55.0"), []string{"line 38", "room.hum_hz", "50 or 60"}, false},
		{"no tuning", replaced("442.07", "44207"), []string{"line 59", "instrument.a4_hz", "392 to 494"}, false},
		{"no day", replaced("made = 2026-11-25", "made = 2026-02-30"), []string{"line 10"}, false},
		{"name of a path", replaced("'Wilma T'", "'../../x'"), []string{"line 8", "name:"}, false},
		{"name of nobody", replaced("'Wilma T'", "'None'"), []string{"line 8", "cannot be used"}, false},
		{"twice", fullText + "[voice]\n", []string{"line"}, false},
		{"too long", fullText + strings.Repeat("# x\n", 20_000), []string{"more than 65536 bytes"}, false},
		{"not UTF-8", replaced("'alto'", "'al\xffto'"), []string{"line"}, false},
	} {
		_, err := Decode([]byte(c.text))
		if err == nil {
			t.Errorf("%s: read without an error", c.name)
			continue
		}
		if errors.Is(err, ErrNewer) != c.newer || errors.Is(err, ErrDamaged) == c.newer {
			t.Errorf("%s: %v is of the wrong kind", c.name, err)
		}
		for _, want := range c.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %q does not say %q", c.name, err, want)
			}
		}
		if s := err.Error(); strings.ContainsAny(s, "\n\r") || len(s) > 300 {
			t.Errorf("%s: %q is not one line", c.name, s)
		}
	}
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

func save(t *testing.T, s *Singers, p calib.Profile) {
	t.Helper()
	if _, err := s.Save(p); err != nil {
		t.Fatal(err)
	}
}

func TestSaveKeepsOldOnes(t *testing.T) {
	s := NewSingers(filepath.Join(t.TempDir(), "new", "folder"))
	p := full()
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
		p := full()
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
		got, err := Decode(after)
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
	p := full()
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
	spoil(strings.Replace(fullText, "version = 1", "version = 7", 1))
	if _, err := s.Load(p.Name); !errors.Is(err, ErrNewer) {
		t.Errorf("newer: %v", err)
	}
	spoil(strings.Replace(fullText, "Wilma T", "Other", 1))
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
	p := full()
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
	if err := os.WriteFile(s.choice(), bytes.Repeat([]byte("x\x00"), maxSize), 0o600); err != nil {
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
		p := full()
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

func TestCheckName(t *testing.T) {
	for _, good := range []string{"me", "Anna", "Zoë", "singer_2", "a b-c", "ミク"} {
		if err := CheckName(good); err != nil {
			t.Error(err)
		}
	}
	for _, bad := range []string{"", " a", "a ", "a/b", `a\b`, "..", ".", "a.toml", "none", "NUL", "com1", "a:b", "a\nb", "-x", "\xff", strings.Repeat("a", 41)} {
		if CheckName(bad) == nil {
			t.Errorf("%q was allowed", bad)
		}
	}
}

// Whatever is in the file: no panic, one line, and what is read can be written
// and read again as the same.
func FuzzDecode(f *testing.F) {
	f.Add([]byte(fullText))
	f.Add([]byte(strings.Replace(fullText, "version = 1", "version = 2", 1)))
	f.Add([]byte("version = 1\nname = \"Zoë\"\nmade = 2026-01-02\n[voice]\ndate = 2026-01-02\ncomfortable = [\"B♭2\", \"Gb4\"]\n"))
	f.Add([]byte("[[voice]]\n[voice.x]\nversion = 1e400"))
	f.Add([]byte(fullText[:500]))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode(data)
		if err != nil {
			if s := err.Error(); strings.ContainsAny(s, "\n\r\x00") || len(s) > 700 {
				t.Fatalf("%q is not one line", s)
			}
			return
		}
		out, err := Encode(p)
		if err != nil {
			t.Fatalf("%+v was read and cannot be written: %v", p, err)
		}
		again, err := Decode(out)
		if err != nil {
			t.Fatalf("%s\n%v", out, err)
		}
		if twice, err := Encode(again); err != nil || !bytes.Equal(out, twice) {
			t.Fatalf("%s\nbecame\n%s\n%v", out, twice, err)
		}
	})
}
