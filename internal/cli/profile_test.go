package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/store"
	"singback/internal/testkit"
	"singback/internal/tui"
	"singback/theory"
)

// measured keeps the profile of an invented tenor, measured in an invented
// room with an instrument 30 cents flat.
func measured(t testing.TB) (c call, file string) {
	t.Helper()
	c.data = t.TempDir()
	day := calib.Date{Year: 2026, Month: 11, Day: 25}
	p := calib.Profile{
		Version: calib.Version, Name: "Otto", Made: day,
		Voice:      &calib.Voice{Date: day, Kind: "tenor", Comfortable: theory.Range{Low: 48, High: 67}, Tessitura: theory.Range{Low: 53, High: 64}, Notes: 9, Error: 21, Spread: 8},
		Room:       &calib.Room{Date: day, Floor: -58, Gate: -46, Hum: 50, Voice: -22, Peak: -9, LeakTried: true, Leaks: true, Leak: -28, Delay: 0.04},
		Instrument: &calib.Instrument{Date: day, A4: 432.44, SE: 0.5, Notes: 5},
	}
	s := store.NewSingers(filepath.Join(c.data, "singback"))
	if _, err := s.Save(p); err != nil {
		t.Fatal(err)
	}
	return c, s.Path("Otto")
}

func (c call) profile(t *testing.T, args ...string) report.Profile {
	t.Helper()
	stdout, _ := c.must(t, append(append([]string{"profile"}, args...), "--format", "json")...)
	var p report.Profile
	if err := json.Unmarshal([]byte(stdout), &p); err != nil {
		t.Fatalf("%q: %v", stdout, err)
	}
	return p
}

func TestProfileStated(t *testing.T) {
	c := call{data: t.TempDir()}
	if stdout, _ := c.must(t, "profile", "--format", "json"); stdout != "null\n" {
		t.Errorf("nobody known: %q", stdout)
	}
	p := c.profile(t, "set", "--range", "C3-G4", "--a4", "442")
	if p.Name != "me" || !p.Current || p.Made != today() || !p.Voice.Stated || p.Voice.Comfortable.Low != "C3" || p.Voice.Comfortable.HighMIDI != 67 ||
		p.Voice.Working.Low != "D3" || p.Voice.Working.High != "F4" || p.Voice.ErrorCents != nil || p.Instrument.A4Hz != 442 || !p.Instrument.Stated || p.Room != nil {
		t.Errorf("%+v %+v %+v", p, p.Voice, p.Instrument)
	}
	if got := c.profile(t); !reflect.DeepEqual(got, p) {
		t.Errorf("shown as %+v, set as %+v", got, p)
	}
	// What is not named stays.
	p = c.profile(t, "set", "--voice", "child")
	if p.Voice.Comfortable.LowMIDI != 57 || *p.Voice.Kind != "child" || !p.Voice.Growing || p.Instrument.A4Hz != 442 {
		t.Errorf("%+v %+v", p.Voice, p.Instrument)
	}
	for _, span := range []string{"c3 to g4", "C3–G4", "C3 .. G4", " B#2-Abb4 "} {
		if p := c.profile(t, "set", "--range", span); p.Voice.Comfortable.LowMIDI != 48 || p.Voice.Comfortable.HighMIDI != 67 {
			t.Errorf("--range %q: %+v", span, p.Voice.Comfortable)
		}
	}
	// In whole sentences.
	if p := c.profile(t, "set", "--voice", "I am a tenor"); *p.Voice.Kind != "tenor" || p.Voice.Comfortable.LowMIDI != 48 || p.Voice.Growing {
		t.Errorf("%+v", p.Voice)
	}
	if p := c.profile(t, "set", "--range", "my range is C3 to G4"); p.Voice.Kind != nil || p.Voice.Comfortable.HighMIDI != 67 || !p.Voice.Stated {
		t.Errorf("%+v", p.Voice)
	}
	// Another singer, who is then the one singing.
	if p := c.profile(t, "set", "--voice", "bass", "--profile", "Otto"); p.Name != "Otto" || !p.Current {
		t.Errorf("%+v", p)
	}
	stdout, _ := c.must(t, "profile", "list")
	if stdout != "  me            changed "+today()+"\n* Otto          changed "+today()+"\n" {
		t.Errorf("list: %q", stdout)
	}
	if p := c.profile(t, "--profile", "ME"); p.Name != "me" || p.Current {
		t.Errorf("%+v", p)
	}
	_, stderr := c.must(t, "profile", "use", "me")
	if stderr != "me is singing from now on.\n" || c.profile(t).Name != "me" {
		t.Errorf("%q", stderr)
	}
}

func TestProfileMoves(t *testing.T) {
	c, file := measured(t)
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	stdout, _ := c.must(t, "profile", "export")
	if stdout != string(before) {
		t.Errorf("exported\n%s\nkept\n%s", stdout, before)
	}
	out := filepath.Join(t.TempDir(), "move.toml")
	c.must(t, "profile", "export", "--out", out)
	args := []string{"profile", "export", "--out", out}
	stdout, stderr, code := c.run(t, args...)
	refused(t, args, stdout, stderr, code, exitFailed, "it is there already")

	other := call{data: t.TempDir()}
	_, stderr = other.must(t, "profile", "import", out)
	if !strings.HasPrefix(stderr, "Otto is new here: ") || strings.Contains(stderr, "use") {
		t.Errorf("import says %q", stderr)
	}
	got, want := other.profile(t), c.profile(t)
	if got.File, want.File = "", ""; !reflect.DeepEqual(got, want) {
		t.Errorf("imported as %+v, was %+v", got, want)
	}
	_, stderr = other.must(t, "profile", "import", out, "--profile", "Ute")
	if !strings.Contains(stderr, `singback profile use "Ute"`) {
		t.Errorf("import says %q", stderr)
	}
	// A file can be shown without being taken over.
	if p := (call{data: t.TempDir()}).profile(t, "--profile", out); p.Name != "Otto" || p.File != out || p.Current {
		t.Errorf("%+v", p)
	}

	args = []string{"profile", "forget", "otto"}
	stdout, stderr, code = other.run(t, args...)
	refused(t, args, stdout, stderr, code, exitUsage, "--yes")
	stdout, _ = other.must(t, "profile", "forget", "otto", "--yes")
	if stdout != "deleted "+filepath.Join(other.data, "singback", "singers", "Otto.toml")+"\n" {
		t.Errorf("%q", stdout)
	}
	if stdout, _ := other.must(t, "profile", "list"); stdout != "* Ute           changed 2026-11-25\n" {
		t.Errorf("left: %q", stdout)
	}
}

func TestProfileRefusals(t *testing.T) {
	c, file := measured(t)
	bad := filepath.Join(t.TempDir(), "bad.toml")
	if err := os.WriteFile(bad, []byte("version = 1\nname = 'x'\nmade = 2026-02-31\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, r := range []struct {
		args string
		code int
		want string
	}{
		{"profile set", exitUsage, "nothing is stated"},
		{"profile set --range G4-C3", exitUsage, "lower note first"},
		{"profile set --range C3", exitUsage, "like C3-G4"},
		{"profile set --range H3-G4", exitUsage, "--range"},
		{"profile set --range C0-G4", exitUsage, "C1 to C7"},
		{"profile set --range C3-G4-C5", exitUsage, "like C3-G4"},
		{"profile set --voice kazoo", exitUsage, "want one of soprano"},
		{"profile set --a4 4400", exitUsage, "392 to 494"},
		{"profile set --voice alto --profile a.b", exitUsage, "letters, digits"},
		{"profile set --voice alto --profile none", exitUsage, "cannot be used"},
		{"profile set --voice alto --profile x.toml", exitUsage, "want the name of a singer"},
		{"profile use nobody", exitFailed, "there is Otto"},
		{"profile use", exitUsage, "missing"},
		{"profile forget nobody --yes", exitFailed, "no such singer"},
		{"profile forget ../x --yes", exitUsage, "letters, digits"},
		{"profile import " + bad, exitFailed, "line 3"},
		{"profile import nowhere.toml", exitFailed, "nowhere.toml"},
		{"profile import " + t.TempDir(), exitFailed, "no plain file"},
		{"profile shwo", exitUsage, "did you mean show?"},
		{"sing --input simulated --profile nobody", exitFailed, "there is Otto"},
		{"sing --input simulated --profile " + bad, exitFailed, "line 3"},
		{"sing --input simulated --key best --profile none", exitUsage, "no voice is known"},
		{"sing --input simulated --key best#", exitUsage, "--key"},
		{"sing --input simulated --key bestmajor", exitUsage, "--key"},
		{"sing --input simulated --key", exitUsage, "--key"},
	} {
		args := strings.Fields(r.args)
		stdout, stderr, code := c.run(t, args...)
		refused(t, args, stdout, stderr, code, r.code, r.want)
	}
	if _, err := os.Stat(bad); err != nil {
		t.Errorf("a file of the user's was moved: %v", err)
	}
	if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
	// Without any folder the drill runs; the profile commands say what is missing.
	c.data = ""
	args := []string{"profile"}
	stdout, stderr, code := c.run(t, args...)
	refused(t, args, stdout, stderr, code, exitFailed, "XDG_DATA_HOME")
	c.must(t, "sing", "--input", "simulated", "--count", "1")
}

func TestDataDir(t *testing.T) {
	vars := map[string]string{"XDG_DATA_HOME": "relative", "HOME": "/home/x"}
	e := &env{getenv: func(name string) string { return vars[name] }}
	if got := e.dataDir(); !strings.HasPrefix(filepath.ToSlash(got), "/home/x/") {
		t.Errorf("a relative XDG_DATA_HOME counts: %q", got)
	}
	vars["XDG_DATA_HOME"] = t.TempDir()
	if got := e.dataDir(); got != filepath.Join(vars["XDG_DATA_HOME"], "singback") {
		t.Error(got)
	}
}

// The profile decides what no flag does: the range, the tuning.
func TestSingFitsTheSinger(t *testing.T) {
	t.Parallel()
	c, _ := measured(t)
	sing := func(args ...string) []event {
		t.Helper()
		stdout, _ := c.must(t, append([]string{"sing", "--input", "simulated", "--format", "json", "--seed", "2"}, args...)...)
		return events(t, stdout)
	}
	keys := []string{"f#m", "C", "Ab", "B"}
	if raceDetector {
		keys = keys[:1]
	}
	for _, key := range keys {
		all := sing("--key", key, "--degrees", "chromatic", "--count", "12", "--from", "any")
		if all[0].A4Hz != 432.44 {
			t.Errorf("A4 = %g Hz, want that of the instrument", all[0].A4Hz)
		}
		for _, p := range named(all, "prompt") {
			for _, note := range []string{p.Asked.Note, p.From.Note} {
				if m := midi(t, note); m < 50 || m > 65 {
					t.Errorf("%s: %s lies outside D3 to F4", key, note)
				}
			}
			if hz := 432.44 * math.Exp2(float64(midi(t, p.Asked.Note)-69)/12); math.Abs(hz-p.TargetHz) > 0.001 {
				t.Errorf("%s at %g Hz, want %.3f", p.Asked.Note, p.TargetHz, hz)
			}
		}
	}
	// Flags come first.
	all := sing("--key", "C", "--voice", "soprano", "--a4", "440", "--count", "7")
	for _, p := range named(all, "prompt") {
		if m := midi(t, p.Asked.Note); m < 62 || m > 79 {
			t.Errorf("--voice soprano: %s", p.Asked.Note)
		}
	}
	if all[0].A4Hz != 440 {
		t.Errorf("--a4 440: %g", all[0].A4Hz)
	}
	// Without the profile all is as if there were none.
	without, _ := c.must(t, "sing", "--input", "simulated", "--format", "json", "--seed", "2", "--count", "4", "--profile", "none")
	nobody, _ := call{}.must(t, "sing", "--input", "simulated", "--format", "json", "--seed", "2", "--count", "4")
	if without != nobody {
		t.Errorf("--profile none differs from no profile:\n%s\n%s", without, nobody)
	}
	c.must(t, "profile", "use", "none")
	if chosen, _ := c.must(t, "sing", "--input", "simulated", "--format", "json", "--seed", "2", "--count", "4"); chosen != nobody {
		t.Errorf("after profile use none:\n%s\n%s", chosen, nobody)
	}
}

// A voice of five semitones: what has no place says so and is asked all the
// same.
func TestSingNarrowVoice(t *testing.T) {
	c := call{data: t.TempDir()}
	c.must(t, "profile", "set", "--range", "C4-F4")
	stdout, stderr := c.must(t, "sing", "--input", "simulated", "--format", "json", "--count", "12", "--degrees", "chromatic", "--seed", "1")
	outside := 0
	for line := range strings.Lines(stdout) {
		var p struct {
			Event   string
			Asked   struct{ Note string }
			Folded  bool
			Outside bool `json:"outside_range"`
		}
		if err := json.Unmarshal([]byte(line), &p); err != nil {
			t.Fatal(err)
		}
		if p.Event != "prompt" {
			continue
		}
		m := midi(t, p.Asked.Note)
		if in := m >= 60 && m <= 65; !in && !p.Folded || in == p.Outside {
			t.Errorf("%+v", p)
		}
		if p.Outside {
			outside++
		}
	}
	if outside != 6 || strings.Count(stderr, "(outside your range: any octave will do)") != 6 {
		t.Errorf("%d of 12 lie outside, want 6; standard error has\n%s", outside, stderr)
	}
}

func TestSingBestKey(t *testing.T) {
	t.Parallel()
	c, _ := measured(t)
	type fit struct {
		Key string
		Fit *struct {
			Degrees, Folded int
			Shift           float64 `json:"shift_semitones"`
			Among           []string
		}
	}
	keys := map[string]bool{}
	for _, seed := range []string{"1", "2", "3", "4", "5", "6"} {
		run := func() (string, fit) {
			stdout, stderr := c.must(t, "sing", "--input", "simulated", "--format", "json", "--count", "1", "--key", "best minor", "--seed", seed)
			var f fit
			if err := json.Unmarshal([]byte(strings.SplitN(stdout, "\n", 2)[0]), &f); err != nil || f.Fit == nil {
				t.Fatalf("%v: %s", err, stdout)
			}
			if !strings.Contains(stderr, "keys that fit best: 7 of 7 degrees in range") {
				t.Errorf("standard error has %q", stderr)
			}
			return stdout, f
		}
		first, f := run()
		if again, _ := run(); again != first {
			t.Errorf("seed %s: two runs differ", seed)
		}
		// F3–E4 is the tessitura: F minor, E♭4 its highest note, lies half a
		// semitone low.
		if !strings.HasSuffix(f.Key, " minor") || f.Fit.Degrees != 7 || f.Fit.Folded != 0 || math.Abs(f.Fit.Shift) > 2.5 {
			t.Errorf("%+v", f)
		}
		if f.Fit.Among[0] != "F minor" && f.Fit.Among[0] != "F# minor" {
			t.Errorf("the best is %s", f.Fit.Among[0])
		}
		keys[f.Key] = true
	}
	if len(keys) < 2 {
		t.Errorf("six seeds chose only %v", keys)
	}
	// The key alone gives the same questions as having it chosen.
	stdout, _ := call{}.must(t, "sing", "--input", "simulated", "--count", "1", "--key", "best", "--voice", "bass", "--degrees", "do", "--seed", "1", "--format", "json")
	if named(events(t, stdout), "prompt")[0].Asked.Degree != "1" {
		t.Errorf("%s", stdout)
	}
}

// A degree sung in tune with an instrument that is 30 cents flat is in tune.
func TestJudgeWithTheInstrument(t *testing.T) {
	c, _ := measured(t)
	take := filepath.Join(t.TempDir(), "take.wav")
	sing(t, take, theory.Tuning{A4: 432.44}.Hz(theory.Pitch{Note: theory.Note{Letter: theory.A}, Octave: 3}))
	cents := func(args ...string) float64 {
		t.Helper()
		stdout, _ := c.must(t, append([]string{"judge", "--key", "C", "--degree", "la", "--format", "json", take}, args...)...)
		var v struct{ Cents float64 }
		if err := json.Unmarshal([]byte(stdout), &v); err != nil {
			t.Fatal(err)
		}
		return v.Cents
	}
	if got := cents(); math.Abs(got) > 1 {
		t.Errorf("%.2f cents, want 0", got)
	}
	if got := cents("--a4", "440"); math.Abs(got+30) > 1 {
		t.Errorf("--a4 440: %.2f cents, want -30", got)
	}
	if got := cents("--profile", "none"); math.Abs(got+30) > 1 {
		t.Errorf("--profile none: %.2f cents, want -30", got)
	}
	key, _ := c.must(t, "key", "A")
	if !strings.Contains(key, "A4 = 432.44 Hz") {
		t.Errorf("key: %q", key)
	}
	cadence, _ := c.must(t, "cadence", "--key", "C", "full", "--format", "json")
	if !strings.Contains(cadence, "432.44") {
		t.Errorf("cadence: %q", cadence)
	}
}

// The gate belongs to a microphone: recordings get it only when the profile is
// named.
func TestGateOfRecordings(t *testing.T) {
	c, _ := measured(t)
	take := filepath.Join(t.TempDir(), "quiet.wav")
	quiet := testkit.Tone(48000, 2, testkit.Steady(220), testkit.Harmonics(8, 9))
	quiet = testkit.Scale(quiet, math.Pow(10, -52.0/20)/testkit.RMS(quiet)) // under the gate of −46
	f, err := audio.CreateWAV(take, 48000)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Write(t.Context(), append(make([]float64, 24000), quiet...)); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	for _, cmd := range [][]string{{"judge", "--key", "A", "--degree", "do", "--a4", "440", "--format", "json"}, {"trace"}, {"notes"}} {
		plain, _ := c.must(t, append(cmd, take)...)
		gated, _ := c.must(t, append(cmd, take, "--profile", "Otto")...)
		none, _ := c.must(t, append(cmd, take, "--profile", "none")...)
		switch cmd[0] {
		case "judge":
			if !strings.Contains(plain, "in_tune") || !strings.Contains(gated, "too_quiet") {
				t.Errorf("judge: %s\nwith --profile: %s", plain, gated)
			}
		case "trace":
			if plain != none || !strings.Contains(plain, ",1,") || strings.Contains(gated, ",1,") {
				t.Error("trace: want voiced rows without --profile alone")
			}
		case "notes":
			if plain != none || strings.Count(plain, "\n") != 2 || strings.Count(gated, "\n") != 1 {
				t.Errorf("notes: %q, with --profile: %q", plain, gated)
			}
		}
	}
}

// A profile that cannot be read is said once, moved aside, and the drill goes
// on without it.
func TestDamagedProfile(t *testing.T) {
	for _, damage := range []struct{ text, aside, want string }{
		{"version = 1\nname = 'Otto'\nmade = 2026-11-25\n[room]\ngate", ".damaged", "line 5"},
		{"version = 9\n", ".newer", "version 9"},
	} {
		c, file := measured(t)
		if err := os.WriteFile(file, []byte(damage.text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, stderr := c.must(t, "sing", "--input", "simulated", "--count", "1", "--seed", "1")
		if strings.Count(stderr, "profile") == 0 || !strings.Contains(stderr, damage.want) || !strings.Contains(stderr, file+damage.aside) || strings.Count(stderr, "The profile is left out") != 1 {
			t.Errorf("standard error has %q", stderr)
		}
		if got, err := os.ReadFile(file + damage.aside); err != nil || string(got) != damage.text {
			t.Errorf("moved aside: %q, %v", got, err)
		}
		if _, stderr := c.must(t, "sing", "--input", "simulated", "--count", "1", "--seed", "1"); strings.Contains(stderr, "profile") {
			t.Errorf("said again: %q", stderr)
		}
	}
}

// Headphones are advised where the loudspeaker is known to leak, and the
// calibration is offered once to who is at a microphone and a terminal and has
// no profile.
func TestAdvice(t *testing.T) {
	for _, c := range []struct {
		name                      string
		live, terminal, json      bool
		speaker, leaks, noProfile bool
		want                      []string
	}{
		{"first run", true, true, false, true, false, true, []string{offer}},
		{"first run, piped", true, false, false, true, false, true, nil},
		{"first run, for a program", true, true, true, true, false, true, nil},
		{"a simulated singer answers", false, true, false, true, false, true, nil},
		{"somebody is known", true, true, false, true, false, false, nil},
		{"leaks", true, true, false, true, true, false, []string{useHeadphones}},
		{"leaks, piped", true, false, true, true, true, false, []string{useHeadphones}},
		{"leaks, no sound in the room", true, true, false, false, true, false, nil},
		{"leaks, nobody sings", false, true, false, true, true, false, nil},
	} {
		e := &env{terminal: func(any) bool { return c.terminal }}
		o := &stageOptions{format: newFormat("text", "json")}
		if c.json {
			o.format.value = "json"
		}
		o.music.unasked = c.noProfile
		if c.leaks {
			o.music.known.Room = &calib.Room{Leaks: true}
		}
		s := &stage{speaker: c.speaker, answers: &drill.Simulated{}}
		if c.live {
			s.answers = drill.Microphone{}
		}
		o.advise(e, s, nil, report.Style{})
		if !reflect.DeepEqual(s.advice, c.want) {
			t.Errorf("%s: %q, want %q", c.name, s.advice, c.want)
		}
		for _, line := range s.advice {
			if len(line) > 74 {
				t.Errorf("%q is %d cells wide", line, len(line))
			}
		}
	}
}

// A growing voice is to be measured again after six weeks: who sings at a
// microphone and a terminal is told so.
func TestAdviceToMeasureAgain(t *testing.T) {
	line := fmt.Sprintf(measureAgain, "2026-10-14")
	for _, c := range []struct {
		day                           int // of November 2026
		growing, live, terminal, json bool
		want                          []string
	}{
		{25, true, true, true, false, []string{line}},
		{24, true, true, true, false, nil},
		{25, false, true, true, false, nil},
		{25, true, false, true, false, nil},
		{25, true, true, false, false, nil},
		{25, true, true, true, true, nil},
	} {
		e := &env{
			terminal: func(any) bool { return c.terminal },
			now:      func() time.Time { return time.Date(2026, 11, c.day, 19, 30, 0, 0, time.UTC) },
		}
		o := &stageOptions{format: newFormat("text", "json")}
		if c.json {
			o.format.value = "json"
		}
		o.music.known.Voice = &calib.Voice{Date: calib.Date{Year: 2026, Month: 10, Day: 14}, Growing: c.growing}
		s := &stage{answers: &drill.Simulated{}}
		if c.live {
			s.answers = drill.Microphone{}
		}
		o.advise(e, s, nil, report.Style{})
		if !reflect.DeepEqual(s.advice, c.want) {
			t.Errorf("%+v: %q", c, s.advice)
		}
	}
	if len(line) > 74 {
		t.Errorf("%q is %d cells wide", line, len(line))
	}
}

// When a rest is due the singer reads it.
func TestRestIsSaid(t *testing.T) {
	var prompts bytes.Buffer
	lines := &tui.Lines{Prompts: &prompts}
	lines.Event(session.Rest{Sung: 900.004})
	for _, want := range []string{"sung for 15 minutes", "drink", "pain, tightness or hoarseness", "three weeks: see a doctor", "no medical advice"} {
		if !strings.Contains(prompts.String(), want) {
			t.Errorf("%q does not say %q", prompts.String(), want)
		}
	}
	for line := range strings.Lines(prompts.String()) {
		if len(line) > 75 {
			t.Errorf("%q is too wide", line)
		}
	}
}
