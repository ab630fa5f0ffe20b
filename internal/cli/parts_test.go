package cli

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/choir"
	"singback/internal/drill"
)

const harbour = "../../testdata/harbour.abc"

// The records of parts are those of the text, moved as --to-key says.
func TestPartsRecords(t *testing.T) {
	out, said := call{}.must(t, "parts", harbour, "--to-key", "best", "--format", "json")
	var r choir.Record
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if r.Key != "F major" || r.Moved != -2 || r.Best != 0 || len(r.Parts) != 4 || r.Parts[0].High != "D5" || len(r.Moves) != 13 || !strings.Contains(said, "the words are those of Soprano") {
		t.Errorf("%+v, %s", r, said)
	}
	for _, to := range []string{"-2", "F"} {
		if again, _ := (call{}).must(t, "parts", harbour, "--to-key="+to, "--format", "json"); again != out {
			t.Errorf("--to-key %s is not best", to)
		}
	}
	out, _ = call{}.must(t, "parts", harbour, "--format", "csv")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) != 5 || rows[4][2] != "Bass" || rows[4][5] != "G2" {
		t.Errorf("%v, %v", rows, err)
	}
}

// What is wrong is one line that says what would be right.
func TestPartsRefuses(t *testing.T) {
	dir := t.TempDir()
	one := filepath.Join(dir, "one.abc")
	if err := os.WriteFile(one, []byte("X:1\nK:C\nC|\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"parts"}, exitUsage, "a FILE of music in parts is missing"},
		{[]string{"parts", filepath.Join(dir, "none.abc")}, exitFailed, "none.abc: no such file"},
		{[]string{"parts", "../../testdata/wav/flat-40.wav"}, exitFailed, "not readable notation"},
		{[]string{"parts", harbour, "--play", "loud"}, exitUsage, `--play: "loud": want all, mine or others`},
		{[]string{"parts", harbour, "--play", "mine"}, exitUsage, "say which part is yours"},
		{[]string{"parts", harbour, "--play", "mine", "--part", "viola"}, exitUsage, "want one of Soprano, Alto, Tenor, Bass"},
		{[]string{"parts", harbour, "--part", "alto"}, exitUsage, "say --play mine"},
		{[]string{"parts", harbour, "--output", "x.wav"}, exitUsage, "say what sounds"},
		{[]string{"parts", harbour, "--tempo", "60"}, exitUsage, "say --play or --out"},
		{[]string{"parts", harbour, "--play", "all", "--louder", "3"}, exitUsage, "it is about --play mine"},
		{[]string{"parts", harbour, "--play", "mine", "--part", "a", "--louder", "99"}, exitUsage, "want 1 to 30"},
		{[]string{"parts", harbour, "--to-key", "Fm"}, exitUsage, "want a major key"},
		{[]string{"parts", harbour, "--to-key", "H"}, exitUsage, "or best, or semitones like -2"},
		{[]string{"parts", harbour, "--to-key", "99"}, exitUsage, "want -24 to 24"},
		{[]string{"parts", harbour, "--play", "all", "--output", "x.mp3"}, exitUsage, "a file that ends in .wav"},
		{[]string{"series", harbour, "--against", "others"}, exitUsage, "say which part is yours"},
		{[]string{"series", harbour, "--against", "band", "--part", "alto"}, exitUsage, "want others"},
		{[]string{"series", harbour, "--against", "others", "--part", "viola"}, exitUsage, "want one of Soprano"},
		{[]string{"series", one, "--against", "others", "--part", "1"}, exitUsage, "has one part"},
		{[]string{"series", "--against", "others", "--input", "simulated"}, exitUsage, "--against: it is about a melody from a file"},
		{[]string{"series", harbour, "--against", "others", "--part", "alto", "--free", "--input", "simulated"}, exitUsage, "there is none with --free"},
	} {
		out, said, code := call{}.run(t, c.args...)
		if code != c.code || out != "" || !strings.Contains(said, c.want) || strings.Count(strings.TrimSpace(said), "\n") > 1 {
			t.Errorf("%v: exit %d, %q; want %d, %q", c.args, code, said, c.code, c.want)
		}
	}
}

// What is written as sound is counted in and has the parts at their levels; a part that is
// left out is left out. Sung notes against it are told by the chord.
func TestPartsSound(t *testing.T) {
	dir := t.TempDir()
	power := func(args ...string) float64 {
		name := filepath.Join(dir, "x.wav")
		call{}.must(t, append([]string{"parts", harbour, "--output", name, "--force", "--loudness", "-20"}, args...)...)
		_, x := readWAV(t, name)
		sum := 0.0
		for _, v := range x {
			sum += v * v
			if math.Abs(v) > math.Pow(10, -6./20) {
				t.Fatalf("%v: a peak of %g", args, v)
			}
		}
		return sum
	}
	all, others := power("--play", "all"), power("--play", "others", "--part", "4")
	mine := power("--play", "mine", "--part", "4", "--louder", "20")
	// Four parts of about one power: three of four, and one with a hundredth of three.
	if a, b := 10*math.Log10(others/all), 10*math.Log10(mine/all); a > -0.5 || a < -3 || b > -4 || b < -9 {
		t.Errorf("without the bass %.1f dB, the bass louder by 20 dB %.1f dB", a, b)
	}
}

// A take answers against the others: as well as without them, and each note is told by
// its chord too. A simulated singer's others sound into a file.
func TestSeriesAgainst(t *testing.T) {
	dir := t.TempDir()
	take, sound := filepath.Join(dir, "take.wav"), filepath.Join(dir, "sound.wav")
	call{}.must(t, "melody", harbour, "--part", "alto", "--output", take)
	out, _ := call{}.must(t, "series", harbour, "--part", "alto", "--against", "others", "--input", take, "--format", "json")
	rs := records(t, out)
	sung, against := rs[len(rs)-3], rs[len(rs)-2]
	g := sung["grade"].(map[string]any)
	if sung["event"] != "sung" || g["notes_right"] != 26.0 || against["event"] != "against" || against["part"] != "Alto" || against["compared"] != 26.0 || against["mean_from_equal_cents"].(float64) > 1 {
		t.Fatalf("%v\n%v", sung, against)
	}
	note := against["notes"].([]any)[5].(map[string]any)
	if note["chord"] != "G/B" || note["pure_from_equal_cents"] != 13.7 || math.Abs(note["from_chord_cents"].(float64)+13.7) > 1 || note["bar"] != 2.0 {
		t.Errorf("note 6: %v", note)
	}
	// The verdict goes by --tuning: played in just intonation, judged in it.
	call{}.must(t, "melody", harbour, "--part", "alto", "--tuning", "just", "--output", take, "--force")
	out, _ = call{}.must(t, "series", harbour, "--part", "alto", "--against", "others", "--tuning", "just", "--tolerance", "5", "--input", take, "--format", "json")
	rs = records(t, out)
	if g := rs[len(rs)-3]["grade"].(map[string]any); g["notes_right"] != 26.0 {
		t.Errorf("in just intonation %v notes right", g["notes_right"])
	}
	text, _ := call{}.must(t, "series", harbour, "--part", "alto", "--against", "others", "--input", "simulated", "--seed", "3", "--output", sound)
	if !strings.Contains(text, "Alto against the others, in cents from what sounded:") {
		t.Errorf("%s", text)
	}
	info, err := os.Stat(sound)
	if err != nil || info.Size() < 2*48000*20 {
		t.Errorf("the others are not in the file: %v, %v", info, err)
	}
}

// At a microphone the others are refused, unless headphones are worn, or it was measured
// that it does not hear them.
func TestAgainstWantsHeadphones(t *testing.T) {
	room := func(tried, leaks bool) *calib.Room { return &calib.Room{LeakTried: tried, Leaks: leaks} }
	for _, c := range []struct {
		name       string
		answers    drill.Answers
		speaker    bool
		headphones bool
		room       *calib.Room
		ok         bool
	}{
		{"a microphone", drill.Microphone{}, true, false, nil, false},
		{"with headphones", drill.Microphone{}, true, true, nil, true},
		{"not measured", drill.Microphone{}, true, false, room(false, false), false},
		{"measured, no leak", drill.Microphone{}, true, false, room(true, false), true},
		{"measured, it leaks", drill.Microphone{}, true, false, room(true, true), false},
		{"nothing sounds in the room", drill.Microphone{}, false, false, nil, true},
		{"a recording", &drill.Recordings{}, true, false, nil, true},
	} {
		o := &lineOptions{choirs: []given{{}}}
		o.Headphones = c.headphones
		o.music.known.Room = c.room
		d := &performance{}
		o.performAgainst(nil, d)
		err := d.ready(&stage{answers: c.answers, speaker: c.speaker})
		if (err == nil) != c.ok || err != nil && !strings.Contains(err.Error(), "say --headphones") {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// The folder has every file, and is not replaced.
func TestPartsFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "practice")
	_, said := call{}.must(t, "parts", harbour, "--out", dir, "--tempo", "200")
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 28 || !strings.Contains(said, "28 files for 4 parts") {
		t.Errorf("%d files, %v, %s", len(entries), err, said)
	}
	if _, said, code := (call{}).run(t, "parts", harbour, "--out", dir); code != exitFailed || !strings.Contains(said, "--force replaces it") {
		t.Errorf("again: exit %d, %s", code, said)
	}
	// The picture of the part is there, and the alto alone is what its score says.
	if marks, _ := (call{}).must(t, "grade", "--model", filepath.Join(dir, "2-alto.musicxml"), filepath.Join(dir, "2-alto-alone.wav")); !strings.Contains(marks, "26 of 26 notes right") {
		t.Errorf("the alto alone against its score: %s", marks)
	}
}
