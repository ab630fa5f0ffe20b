package cli

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/report"
	"singback/theory"
)

// What a user reads. The voicing is that of the worked example in the topic
// chords of the handbook; the rules that it keeps are tested in package theory.
func TestCadence(t *testing.T) {
	const full = "A♭ major, keyboard\n\n" +
		"         I    IV   V7   I\n" +
		"         A♭   D♭   E♭7  A♭\n" +
		"soprano  A♭4  A♭4  G4   A♭4\n" +
		"alto     E♭4  F4   E♭4  E♭4\n" +
		"tenor    C4   D♭4  D♭4  C4\n" +
		"bass     A♭2  D♭3  E♭3  A♭3\n"
	for _, args := range [][]string{
		{"cadence", "--key", "Ab major", "full"},
		{"cadence", "--key", "Ab", "I IV V7 I"},
		{"cadence", "--key", "Ab", "I", "IV", "V7", "I"},
		{"cadence", "--key", "Ab", "Ab Db Eb7 Ab"},
	} {
		if out, errs, code := (user{}).runs(t, args...); out != full || errs != "" || code != exitDone {
			t.Errorf("%v: exit %d\n%s%s\nwant\n%s", args, code, out, errs, full)
		}
	}
	out, _, _ := user{ascii: true}.runs(t, "cadence", "--key", "Ab", "full")
	if out != strings.NewReplacer("♭", "b").Replace(full) {
		t.Errorf("without UTF-8:\n%s", out)
	}
}

// The command hands chords on as they are written: dashes and commas in a symbol
// divide nothing.
func TestCadenceSymbols(t *testing.T) {
	for chords, want := range map[string]string{
		"A- F C G": "Am F C G", "C-": "Cm", "C-7 F7": "Cm7 F7", "G7(b9,#11) C": "G7♭9♯11 C", "G7(b9, #11) C": "G7♭9♯11 C",
		"C7alt F": "C7alt F", "C7+ F": "C7♯5 F", "Cmj7 F": "Cmaj7 F", "I69": "C6/9", "D/Gb G": "D/F♯ G", "ii-V-I": "Dm G C", "C - F, G | C": "C F G C",
	} {
		out, errs, code := user{}.runs(t, "cadence", "--key", "C", chords)
		lines := strings.Split(out, "\n")
		if code != exitDone || errs != "" || len(lines) < 4 || squeezed(lines[3]) != want {
			t.Errorf("%s: exit %d, %s%s; want the chords %s", chords, code, out, errs, want)
		}
	}
}

// What no voicing sets by the rules is set with licences, which text and JSON name;
// what can be set has none, and --strict allows none.
func TestLicences(t *testing.T) {
	const licence = "\nLicence from chord 2, V42, to chord 3, I: a seventh that does not fall by step.\n"
	out, errs, code := user{}.runs(t, "cadence", "--key", "C", "I V42 I")
	if code != exitDone || errs != "" || !strings.HasSuffix(out, licence) {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	for chords, want := range map[string]int{"I V42 I": 1, "I V42 I6": 0, "Cmaj9 Am9 Dm9 G13 C6/9": 2} {
		out, errs, code := user{}.runs(t, "cadence", "--key", "C", "--format", "json", chords)
		var v report.Voicing
		if err := json.Unmarshal([]byte(out), &v); code != exitDone || err != nil || v.Licences == nil || len(v.Licences) != want {
			t.Errorf("%s: exit %d, %v, %s%s; want %d licences", chords, code, err, out, errs, want)
		}
		for _, l := range v.Licences {
			if l.To != l.From+1 || l.From < 1 || l.To > len(v.Chords) || l.Rule == "" {
				t.Errorf("%s: %+v", chords, l)
			}
		}
		_, _, code = user{}.runs(t, "cadence", "--key", "C", "--strict", chords)
		if (code == exitFailed) != (want > 0) {
			t.Errorf("%s with --strict: exit %d", chords, code)
		}
	}
	for _, strict := range []bool{false, true} {
		args := []string{"between", "V42", "I", "--key", "C", "--format", "json"}
		if strict {
			args = append(args, "--strict")
		}
		out, errs, code := user{}.runs(t, args...)
		var b report.Between
		if err := json.Unmarshal([]byte(out), &b); code != exitDone || err != nil {
			t.Fatal(out, errs, err)
		}
		unset, free := 0, 0
		for _, p := range b.Passing {
			if p.Voicing == nil {
				unset++
			}
			free += len(p.Licences)
		}
		if strict != (unset > 0) || strict != (free == 0) {
			t.Errorf("strict %t: %d ways are not set, %d licences", strict, unset, free)
		}
	}
}

// Numbers are read beside numerals and symbols, and written where they are asked
// for; what is written is read again as the same chords.
func TestNumbers(t *testing.T) {
	for chords, want := range map[string][2]string{
		"1 | 4 | 57 | 6-": {"1 4 5⁷ 6-", "C F G7 Am"}, "5sus 5 4/1 1": {"5sus 5 4/1 1", "Gsus4 G F/C C"}, "I V7/ii 2- 57": {"1 6⁷ 2- 5⁷", "C A7 Dm G7"},
		"C F/A G7 Am": {"1 4/6 5⁷ 6-", "C F/A G7 Am"}, "1, b7 - 4 (4- 1)": {"1 ♭7 4 4- 1", "C B♭ F Fm C"}, "57": {"5⁷", "G7"},
	} {
		out, errs, code := user{}.runs(t, "cadence", "--key", "C", "--chords", "numbers", chords)
		lines := strings.Split(out, "\n")
		if code != exitDone || errs != "" || len(lines) < 4 || squeezed(lines[2]) != want[0] || squeezed(lines[3]) != want[1] {
			t.Fatalf("%s: exit %d, %s%s; want %s", chords, code, out, errs, want)
		}
		if again, _, _ := (user{}).runs(t, "cadence", "--key", "C", "--chords", "numbers", lines[2]); again != out {
			t.Errorf("%s gives\n%s\nand %s gives\n%s", chords, out, lines[2], again)
		}
	}
	out, errs, code := user{ascii: true}.runs(t, "between", "1", "2-7", "--key", "C", "--chords", "numbers")
	if code != exitDone || !strings.Contains(squeezed(out), squeezed("Em7b5 A7 3-7b5 67 in C major ii-V")) {
		t.Errorf("between: %s%s", out, errs)
	}
	out, errs, code = user{}.runs(t, "deduce", "--key", "G", "--chords", "numbers", "do fa:min sol do")
	if code != exitDone || !strings.Contains(out, "fa minor: 2-/4, Am/C, 78 %") || strings.Contains(out, "ii65") {
		t.Errorf("deduce: %s%s", out, errs)
	}
	for _, args := range [][]string{{"cadence", "1 2-7"}, {"between", "1", "2-7"}, {"deduce", "do:maj re:min7"}} {
		out, errs, code := user{}.runs(t, append(args, "--key", "C", "--format", "json")...)
		if code != exitDone || !strings.Contains(out, `"number": "2-7"`) {
			t.Errorf("%v: %s%s", args, out, errs)
		}
	}
}

func TestCadenceJSON(t *testing.T) {
	out, errs, code := user{}.runs(t, "cadence", "--key", "c#m", "--texture", "choir", "--format", "json", "i V65/iv iv viio7 i")
	if code != exitDone {
		t.Fatal(errs)
	}
	var v report.Voicing
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	if v.Key != "C# minor" || v.Style != "choir" || len(v.Chords) != 5 || v.Cost <= 0 || v.A4Hz != 440 || v.Tuning != "equal" {
		t.Errorf("%+v", v)
	}
	c := v.Chords[1]
	if c.Numeral != "V65/iv" || c.Counted != "F# minor" || c.Chord.Chord != "C#7/E#" || strings.Join(c.Notes, " ") != "E# G# B C#" || len(c.Voices) != 4 {
		t.Errorf("%+v", c)
	}
	for _, c := range v.Chords {
		for i, p := range c.Voices {
			if p.Voice != [4]string{"bass", "tenor", "alto", "soprano"}[i] || math.Abs(p.Hz-440*math.Exp2(float64(p.MIDI-69)/12)) > 0.001 {
				t.Errorf("%+v", p)
			}
		}
	}
}

// The sound has the pitches that the record names, and lasts as long as four
// beats of 72 a minute and one more.
func TestCadenceSound(t *testing.T) {
	for _, texture := range []string{"keyboard", "choir", "band"} {
		testCadenceSound(t, texture)
	}
}

func testCadenceSound(t *testing.T, texture string) {
	path := filepath.Join(t.TempDir(), "out.wav")
	out, errs, code := user{}.runs(t, "cadence", "--key", "Eb", "--format", "json", "--texture", texture, "--output", path, "full")
	if code != exitDone {
		t.Fatal(errs)
	}
	var v report.Voicing
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	src, err := audio.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	var samples []float64
	block := make([]float64, 4096)
	for {
		n, _, err := src.Read(t.Context(), block)
		samples = append(samples, block[:n]...)
		if err != nil {
			break
		}
	}
	rate := float64(src.SampleRate())
	if got, want := float64(len(samples))/rate, 5*60.0/72; got < want || got > want+0.35 { // the strings ring on for 0.34 s at most
		t.Errorf("it lasts %.2f s, want %.2f, or a little more", got, want)
	}
	for i, c := range v.Chords {
		from := int((float64(i)*60/72 + 0.1) * rate)
		window := samples[from : from+int(0.6*rate)]
		aside := math.Exp2(1.5 / 12)
		for _, p := range c.Voices {
			if on, off := power(window, p.Hz, rate), power(window, p.Hz*aside, rate); on < 20*off {
				t.Errorf("chord %d: %s is not heard: %g there, %g three quarter tones above", i+1, p.Note, on, off)
			}
		}
	}
}

// power is that of one frequency, by Goertzel's sum under a Hann window.
func power(x []float64, hz, rate float64) float64 {
	re, im := 0.0, 0.0
	for i, s := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		sin, cos := math.Sincos(2 * math.Pi * hz * float64(i) / rate)
		re, im = re+w*s*cos, im+w*s*sin
	}
	return (re*re + im*im) / float64(len(x)*len(x))
}

// Two hands: as many notes as are asked.
func TestCadenceBand(t *testing.T) {
	for _, parts := range []string{"4", "5", "6"} {
		var got report.Voicing
		out, errs, code := user{}.runs(t, "cadence", "--key", "Db", "--texture", "band", "--parts", parts, "--format", "json", "--output", "none", "Ebm9 Ab13 Dbmaj9")
		if code != 0 || errs != "" {
			t.Fatal(errs)
		}
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		if got.Style != "band" || len(got.Chords) != 3 || len(got.Licences) != 0 {
			t.Errorf("%+v", got)
		}
		for _, c := range got.Chords {
			right := 0
			for i, v := range c.Voices {
				if v.Voice == "right hand" {
					right++
				} else if v.Voice != "left hand" || right > 0 {
					t.Errorf("voice %d of %s is %q", i+1, c.Chord.Chord, v.Voice)
				}
			}
			if strconv.Itoa(len(c.Voices)) != parts || right < 3 || right > 4 {
				t.Errorf("%s has %d notes, %d of them in the right hand; want %s", c.Chord.Chord, len(c.Voices), right, parts)
			}
		}
	}
}

func TestBetween(t *testing.T) {
	out, errs, code := user{}.runs(t, "between", "C", "Dm7", "--key", "C")
	if code != exitDone {
		t.Fatal(errs)
	}
	for _, want := range []string{
		"C to Dm7, in C major",
		"E♭°7      ♭iii°7 in C major        passing diminished, falling  ♭iii° to ii or ii7 68 % [1]\nA7 ",
		"Em7♭5 A7  iiø7/ii V7/ii in C major  ii-V\n",
		"secondary dominant: a major chord or dominant seventh a fifth above the goal.\n",
		"[1] chart songs",
	} {
		if !strings.Contains(squeezed(out), squeezed(want)) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	for _, line := range strings.Split(out, "\n") {
		if strings.TrimRight(line, " ") != line {
			t.Errorf("blanks at the end of %q", line)
		}
	}
	// Numerals mean the same chords, in any key.
	numerals, _, _ := user{}.runs(t, "between", "I", "ii7", "--key", "C")
	if numerals != out {
		t.Errorf("I and ii7 in C give\n%s", numerals)
	}
	voices, _, _ := user{}.runs(t, "between", "C Dm7", "--key", "C", "--voices")
	if !strings.HasPrefix(voices, out) || strings.Count(voices, "\nsoprano  ") < 6 {
		t.Errorf("--voices gives\n%s", voices)
	}
}

func squeezed(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestBetweenJSON(t *testing.T) {
	out, errs, code := user{}.runs(t, "between", "Gb", "Cb", "--format", "json")
	if code != exitDone {
		t.Fatal(errs)
	}
	var b report.Between
	if err := json.Unmarshal([]byte(out), &b); err != nil {
		t.Fatal(err)
	}
	if b.From != "Gb" || b.To != "Cb" || b.Keys[0] != "Gb major" {
		t.Errorf("%+v", b)
	}
	last := 101
	found := false
	for _, p := range b.Passing {
		percent := 0
		if p.Percent != nil {
			percent = *p.Percent
		}
		if percent > last {
			t.Errorf("%s with %d %% comes after %d %%", p.Device, percent, last)
		}
		last = percent
		if p.Device == "walk-up" {
			found = percent == 43 && p.Key == "Gb major" && p.Chords[0].Chord == "Abm7" && p.Chords[1].Chord == "Gb/Bb" && len(p.Voicing) == 4
		}
		if strings.ContainsAny(p.Rule+p.Device, "♭♯") {
			t.Errorf("%q is not ASCII", p.Rule+p.Device)
		}
	}
	if !found {
		t.Errorf("no walk-up as expected in\n%s", out)
	}
}

// In every key nothing is offered that has a doubled sign, in text and in JSON,
// and where that needed another spelling both are told.
func TestHarmonyIsReadable(t *testing.T) {
	respelled := 0
	for _, key := range theory.Keys() {
		for _, args := range [][]string{
			{"between", "I", "bVI", "--key", key.ASCII()}, {"between", "V", "iii", "--key", key.ASCII()},
			{"between", "I", "I", "--key", key.ASCII()}, {"between", "bVI", "bVII", "--key", key.ASCII()},
			{"cadence", "I bVI Ger65 V", "--key", key.ASCII()}, {"deduce", "do le sol", "--key", key.ASCII()},
		} {
			out, errs, code := user{}.runs(t, args...)
			if code != exitDone {
				t.Fatalf("%v: exit %d, %s", args, code, errs)
			}
			table, notes := out, map[string]bool{}
			for line := range strings.Lines(out) {
				if strings.HasSuffix(line, ": easier to read, the same sound.\n") {
					table = strings.Replace(table, line, "", 1)
					notes[strings.TrimSuffix(line, ".\n")] = true
				}
			}
			for line := range strings.Lines(table) {
				part, _, _ := strings.Cut(line, " ")
				if args[0] != "cadence" || part == "" { // parts are spelled as they lead
					if strings.ContainsAny(line, "𝄪𝄫") || strings.Contains(line, "♯♯") || strings.Contains(line, "♭♭") {
						t.Errorf("%v shows %q", args, line)
					}
				}
			}
			out, errs, code = user{}.runs(t, append(args, "--format", "json")...)
			if code != exitDone {
				t.Fatalf("%v: exit %d, %s", args, code, errs)
			}
			var record any
			if err := json.Unmarshal([]byte(out), &record); err != nil {
				t.Fatal(err)
			}
			eachChord(record, func(c map[string]any) {
				chord, numeral := c["chord"].(string), c["numeral"].(string)
				if number := c["number"].(string); strings.Contains(number, "bb") || strings.Contains(number, "##") {
					t.Errorf("%v: %s is offered", args, number)
				}
				if again, err := theory.ParseChord(chord); err != nil || abs(again.Root.Alter) > 1 || abs(again.Bass.Alter) > 1 && strings.HasSuffix(chord, again.Bass.ASCII()) || strings.Contains(numeral+c["counted"].(string), "bb") || strings.Contains(numeral, "##") {
					t.Errorf("%v: %s, %s is offered (%v)", args, chord, numeral, err)
				}
				if (c["spelled"] == nil) != (c["note"] == nil) {
					t.Errorf("%v: %s is spelled %v, note %v", args, chord, c["spelled"], c["note"])
				}
				if spelled, ok := c["spelled"].(map[string]any); ok {
					respelled++
					if !strings.HasPrefix(c["note"].(string), chord+" for "+spelled["chord"].(string)) && !strings.Contains(c["note"].(string), numeral+" for "+spelled["numeral"].(string)) {
						t.Errorf("%v: %s for %v has the note %v", args, chord, spelled, c["note"])
					}
				}
			})
		}
	}
	if respelled < 100 {
		t.Errorf("%d chords were respelled: is anything tried?", respelled)
	}
}

func abs(a int8) int8 { return max(a, -a) }

// eachChord calls f with every chord of a record.
func eachChord(v any, f func(map[string]any)) {
	switch v := v.(type) {
	case []any:
		for _, x := range v {
			eachChord(x, f)
		}
	case map[string]any:
		_, numeral := v["numeral"]
		if _, told := v["note"]; numeral && told { // the one in spelled has none
			f(v)
		}
		for _, x := range v {
			eachChord(x, f)
		}
	}
}

// One line that names what was not understood, and what would have been.
func TestHarmonyErrors(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"cadence", "full"}, exitUsage, "--key is missing"},
		{[]string{"cadence", "--key", "C"}, exitUsage, "the progression is missing"},
		{[]string{"cadence", "--key", "H", "full"}, exitUsage, `"H"`},
		{[]string{"cadence", "--key", "C", "plagl"}, exitUsage, "plagal"},
		{[]string{"cadence", "--key", "C", "I Q V"}, exitUsage, `chord 2: not a Roman numeral: "Q"`},
		{[]string{"cadence", "--key", "C", "I Gfoo"}, exitUsage, `"foo"`},
		{[]string{"cadence", "--strict", "--key", "C", "I V42 I"}, exitFailed, "from chord 2, V42, to chord 3, I"},
		{[]string{"cadence", "--key", "C", "--texture", "organ", "full"}, exitUsage, "want keyboard, choir or band"},
		{[]string{"cadence", "--key", "C", "--shift", "99", "full"}, exitUsage, "--shift: 99"},
		{[]string{"cadence", "--key", "C", "--texture", "band", "--parts", "7", "full"}, exitUsage, "--parts: 7 is out of range: want 4 to 6"},
		{[]string{"cadence", "--key", "C", "--texture", "band", "--shift", "30", "full"}, exitUsage, "--shift: 30 semitones"},
		{[]string{"cadence", "--key", "C", "--parts", "5", "full"}, exitUsage, "keyboard has four parts; more are played with --texture band"},
		{[]string{"cadence", "--key", "C", "--texture", "band", "--parts", "6", "C5 F5"}, exitFailed, "chord 1, I(no3), does not fit into two hands with 6 notes; try --parts 5"},
		{[]string{"cadence", "--key", "C", "--tuning", "odd", "full"}, exitUsage, "--tuning"},
		{[]string{"cadence", "--key", "C", "--a4", "9", "full"}, exitUsage, "--a4"},
		{[]string{"cadence", "--key", "C", "--loudness", "9", "full"}, exitUsage, "--loudness"},
		{[]string{"cadence", "--key", "C", "--output", "x.mp3", "full"}, exitUsage, ".wav"},
		{[]string{"cadence", "--key", "C", strings.Repeat("I ", 300)}, exitUsage, "300 chords are too many"},
		{[]string{"cadence", "--key", "C", "Cdom"}, exitUsage, `chord 1: not a chord: "Cdom": "dom" says no chord by itself; want dom7`},
		{[]string{"cadence", "--key", "C", "Cfoo"}, exitUsage, `"foo" behind "C" is not understood`},
		{[]string{"cadence", "--key", "C", "A-F-C-G"}, exitUsage, `is the dash behind chord 1 minor, or does it stand between two chords? want "Am"`},
		{[]string{"cadence", "--key", "C", "C (b9)"}, exitUsage, "want it right behind its chord"},
		{[]string{"cadence", "--key", "C", "a F"}, exitUsage, `want "A" or "Am"`},
		{[]string{"cadence", "--key", "C", "1-4-5"}, exitUsage, "is the dash behind chord 1 minor, or does it stand between two chords?"},
		{[]string{"cadence", "--key", "C", "1 54"}, exitUsage, `chord 2: not the number of a chord: "54"`},
		{[]string{"cadence", "--key", "C", "--chords", "letters", "1"}, exitUsage, "want numerals or numbers"},
		{[]string{"cadence", "--key", "Am", "6- 4"}, exitUsage, `is 6- home? Then want the key "C major"`},
		{[]string{"between", "1", "4"}, exitUsage, "--key is missing"},
		{[]string{"deduce", "--key", "C", "1 6- 5"}, exitUsage, "like 6:min"},
		{[]string{"between", "C-F"}, exitUsage, "is the dash behind chord 1 minor"},
		{[]string{"between", "C"}, exitUsage, "want two"},
		{[]string{"between", "C", "F", "G"}, exitUsage, "want two"},
		{[]string{"between", "C", "Fq"}, exitUsage, `"q"`},
		{[]string{"between", "I", "IV"}, exitUsage, "--key is missing"},
		{[]string{"between", "--key", "C", "I", "IX"}, exitUsage, `"X"`},
		{[]string{"between", "--key", "J", "C", "F"}, exitUsage, "--key"},
	} {
		out, errs, code := user{}.runs(t, c.args...)
		if code != c.code || out != "" || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%v: exit %d, %q, %q; want exit %d, %q", c.args, code, out, errs, c.code, c.want)
		}
	}
}
