package kept

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/testkit/invented"
	"singback/theory"

	"pgregory.net/rapid"
)

// What a singer finds in the file of invented.Profile.
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
	data, err := EncodeProfile(invented.Profile())
	if err != nil {
		t.Fatal(err)
	}
	if string(data) != fullText {
		t.Errorf("got\n%s\nwant\n%s", data, fullText)
	}
	p, err := DecodeProfile(data)
	if err != nil || !reflect.DeepEqual(p, invented.Profile()) {
		t.Errorf("read back as %+v, %v", p, err)
	}
	// What a person writes: other spellings of notes, no comments, parts left out.
	p, err = DecodeProfile([]byte("version = 1\nname = \"Zoë\"\nmade = 2026-01-02\n[voice]\ndate = 2026-01-02\nstated = true\ncomfortable = [\"B♭2\", \"Gb4\"]\n"))
	if err != nil || p.Name != "Zoë" || p.Voice.Comfortable != (theory.Range{Low: 46, High: 66}) || !p.Voice.Stated || p.Room != nil || p.Instrument != nil {
		t.Errorf("%+v, %v", p, err)
	}
}

// A part may stand in braces, or its keys with its name before them: the same to TOML.
func TestOtherForms(t *testing.T) {
	for _, text := range []string{
		"voice.date = 2026-01-02\nvoice.comfortable = ['C3', 'G4']\nvoice.growing = true\n",
		"voice = {date = 2026-01-02, comfortable = ['C3', 'G4'], growing = true}\n",
		"[voice]\ngrowing = true\n'date' = 2026-01-02\ncomfortable = [\n 'C3', # low\n 'G4']\n",
	} {
		p, err := DecodeProfile([]byte("version = 1\nname = \"Wilma\"\nmade = 2026-01-02\n" + text))
		if err != nil || p.Name != "Wilma" || p.Voice == nil || *p.Voice != (calib.Voice{Date: calib.Date{Year: 2026, Month: 1, Day: 2}, Growing: true, Comfortable: theory.Range{Low: 48, High: 67}}) || p.Room != nil {
			t.Errorf("%s: %+v, %v", text, p.Voice, err)
		}
	}
	for text, want := range map[string]string{
		"choir.date = 2026-01-02\n": "line 4: not a readable profile: there is no field \"choir.date\"", "choir = {}\n": "no field \"choir\"", "[[voice]]\n": "line 4: not a readable profile: there is no field \"voice\"",
		"voice = 1\n": "no field \"voice\"", "[voice.x]\n": "no field \"voice.x\"", "voice = {date = 1}\n": "line 4, column 17: not a readable profile: voice.date: the value is of kind integer, want a day like 2026-11-25",
	} {
		if _, err := DecodeProfile([]byte("version = 1\nname = 'Wilma'\nmade = 2026-01-02\n" + text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
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
		data, err := EncodeProfile(p)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeProfile(data)
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
		_, err := DecodeProfile([]byte(c.text))
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
func FuzzDecodeProfile(f *testing.F) {
	f.Add([]byte(fullText))
	f.Add([]byte(strings.Replace(fullText, "version = 1", "version = 2", 1)))
	f.Add([]byte("version = 1\nname = \"Zoë\"\nmade = 2026-01-02\n[voice]\ndate = 2026-01-02\ncomfortable = [\"B♭2\", \"Gb4\"]\n"))
	f.Add([]byte("[[voice]]\n[voice.x]\nversion = 1e400"))
	f.Add([]byte(fullText[:500]))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := DecodeProfile(data)
		if err != nil {
			if s := err.Error(); strings.ContainsAny(s, "\n\r\x00") || len(s) > 700 {
				t.Fatalf("%q is not one line", s)
			}
			return
		}
		out, err := EncodeProfile(p)
		if err != nil {
			t.Fatalf("%+v was read and cannot be written: %v", p, err)
		}
		again, err := DecodeProfile(out)
		if err != nil {
			t.Fatalf("%s\n%v", out, err)
		}
		if twice, err := EncodeProfile(again); err != nil || !bytes.Equal(out, twice) {
			t.Fatalf("%s\nbecame\n%s\n%v", out, twice, err)
		}
	})
}
