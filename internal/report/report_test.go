package report

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/theory"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares text with the file of that name in testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s differs (see it with -update and git diff); got\n%s", path, got)
	}
}

func key(t testing.TB, name string) theory.Key {
	t.Helper()
	k, err := theory.ParseKey(name)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// la asks for la of A-flat major, F4 at 349.228 Hz, from do if from.
func la(t testing.TB, from bool) exercise.Item {
	k := key(t, "Ab major")
	it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}, Asked: theory.Degree{Step: 6}}
	if from {
		it.From = &theory.Degree{Step: 1}
	}
	return it
}

var tolerance = exercise.Tolerance{Cents: 35}

// verdicts are invented, one of each outcome.
func verdicts(it exercise.Item) map[string]exercise.Verdict {
	base := exercise.Verdict{
		Sung: it.Asked, HasSung: true, Cents: 4.256, FromAsked: 4.256, SE: 0.4321, F0: 350.0876, Spread: 6.054,
		VibratoHz: 5.812, VibratoCents: 41.27, Scoop: -182.44, Settle: 0.12345, Held: 1.81, Answer: 0.9375, Level: -21.04,
	}
	change := func(f func(*exercise.Verdict)) exercise.Verdict {
		v := base
		f(&v)
		return v
	}
	return map[string]exercise.Verdict{
		"in-tune":  change(func(v *exercise.Verdict) { v.Outcome = exercise.InTune }),
		"by-steps": change(func(v *exercise.Verdict) { v.Outcome, v.BySteps = exercise.InTune, true }),
		"flat": change(func(v *exercise.Verdict) {
			v.Outcome, v.Cents, v.FromAsked, v.OctaveShift = exercise.Flat, -40.5, -40.5, -1
		}),
		"sharp": change(func(v *exercise.Verdict) { v.Outcome, v.Cents, v.FromAsked = exercise.Sharp, 40.4, 40.4 }),
		"other-degree": change(func(v *exercise.Verdict) {
			v.Outcome, v.Sung, v.Cents, v.FromAsked = exercise.OtherDegree, theory.Degree{Step: 6, Alter: -1}, -0.001, -100.001
			v.VibratoHz, v.VibratoCents, v.Scoop = 0, 0, math.Copysign(0, -1)
		}),
		"other-octave": change(func(v *exercise.Verdict) { v.Outcome, v.OctaveShift = exercise.OtherDegree, 2 }),
		"ambiguous":    change(func(v *exercise.Verdict) { v.Outcome, v.Cents, v.FromAsked = exercise.Ambiguous, -49.6, -49.6 }),
		"unsteady": change(func(v *exercise.Verdict) {
			v.Outcome, v.Spread, v.VibratoHz, v.VibratoCents = exercise.Unsteady, 38, 0, 0
		}),
		"wandering": change(func(v *exercise.Verdict) {
			v.Outcome, v.HasSung, v.Sung, v.Cents, v.Spread = exercise.Unsteady, false, theory.Degree{}, 0, 223.7
			v.VibratoHz, v.VibratoCents, v.Scoop = 0, 0, 77
		}),
		"not-measured": {Reason: exercise.TooQuiet, Level: -71.26},
	}
}

func encode(t *testing.T, record any) string {
	t.Helper()
	b, err := json.MarshalIndent(record, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return string(b) + "\n"
}

func TestVerdictRecords(t *testing.T) {
	for name, v := range verdicts(la(t, false)) {
		it := la(t, name == "flat")
		golden(t, "verdict-"+name, encode(t, NewVerdict(it, v, tolerance, theory.Letters)))
	}
}

// Scripts depend on the field names: one that is renamed or goes away breaks
// this list, and then Schema must grow.
func TestFieldNames(t *testing.T) {
	it := la(t, true)
	degree := []string{"degree", "name", "note", "semitones", "syllable"}
	count := []string{"ambiguous", "answered", "asked", "flat", "median_cents", "no_degree", "not_measured", "other_degree", "right", "sharp", "unsteady"}
	for _, c := range []struct {
		what   string
		record any
		path   []string
		want   []string
	}{
		{"verdict", NewVerdict(it, verdicts(it)["flat"], tolerance, theory.Movable), nil, []string{
			"a4_hz", "answer_s", "asked", "by_steps", "cents", "cents_from_asked", "cents_se", "f0_hz", "folded", "from", "held_s", "key", "level_dbfs",
			"outcome", "reason", "scoop_cents", "settle_s", "spread_cents", "strict_octave", "sung", "target_hz", "tolerance_cents",
			"tuning", "tuning_note", "vibrato_cents", "vibrato_hz",
		}},
		{"verdict, asked", NewVerdict(it, verdicts(it)["flat"], tolerance, theory.Movable), []string{"asked"}, degree},
		{"verdict, from", NewVerdict(it, verdicts(it)["flat"], tolerance, theory.Movable), []string{"from"}, degree},
		{"verdict, sung", NewVerdict(it, verdicts(it)["flat"], tolerance, theory.Movable), []string{"sung"}, sorted(degree, "octave_shift")},
		{"verdict that was not measured", NewVerdict(it, verdicts(it)["not-measured"], tolerance, theory.Movable), nil, []string{
			"a4_hz", "answer_s", "asked", "by_steps", "cents", "cents_from_asked", "cents_se", "f0_hz", "folded", "from", "held_s", "key", "level_dbfs",
			"outcome", "reason", "scoop_cents", "settle_s", "spread_cents", "strict_octave", "sung", "target_hz", "tolerance_cents",
			"tuning", "tuning_note", "vibrato_cents", "vibrato_hz",
		}},
		{"prompt", NewPrompt(it, theory.Movable), nil, []string{"asked", "folded", "from", "target_hz"}},
		{"summary", NewSummary(it.Key, tally(t), theory.Movable, false), nil, []string{"by_degree", "by_pair", "interrupted", "total"}},
		{"summary, total", NewSummary(it.Key, tally(t), theory.Movable, false), []string{"total"}, count},
		{"summary, a degree", NewSummary(it.Key, tally(t), theory.Movable, false), []string{"by_degree"}, sorted(count, degree...)},
		{"summary, a pair", NewSummary(it.Key, tally(t), theory.Movable, false), []string{"by_pair"}, sorted(count, "from", "to")},
		{"key", NewKeyTable(it, []theory.Degree{it.Asked}, theory.Movable), nil, []string{"a4_hz", "degrees", "falling", "key", "mode", "scale", "schema", "signature", "tonic", "tuning"}},
		{"key, a degree", NewKeyTable(it, []theory.Degree{it.Asked}, theory.Movable), []string{"degrees"}, sorted(degree, "cents", "folded", "hz", "names", "ratio")},
	} {
		var value any
		if err := json.Unmarshal([]byte(encode(t, c.record)), &value); err != nil {
			t.Fatal(err)
		}
		for _, step := range c.path {
			value = value.(map[string]any)[step]
			if list, ok := value.([]any); ok {
				value = list[0]
			}
		}
		var got []string
		for name := range value.(map[string]any) {
			got = append(got, name)
		}
		if slices.Sort(got); !slices.Equal(got, c.want) {
			t.Errorf("%s has the fields %q, want %q", c.what, got, c.want)
		}
	}
	if Schema != 1 {
		t.Error("a new schema: has every field that changed its meaning been named in the change log?")
	}
}

func sorted(names []string, more ...string) []string {
	return slices.Sorted(slices.Values(append(slices.Clone(names), more...)))
}

// No −0 is printed, and rounding is to the nearest.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		x      float64
		digits int
		want   string
	}{
		{math.Copysign(0, -1), 2, "0"},
		{-0.004, 2, "0"},
		{-0.006, 2, "-0.01"},
		{4.256, 2, "4.26"},
		{349.22823, 3, "349.228"},
		{-120, 1, "-120"},
	} {
		b, err := json.Marshal(number(c.x, c.digits))
		if err != nil || string(b) != c.want {
			t.Errorf("%v to %d digits: %s, %v; want %s", c.x, c.digits, b, err, c.want)
		}
	}
	for c, want := range map[theory.Cents]string{
		0: "exact", -0.4: "exact", 0.4: "exact", 1: "1 cent sharp", -1.2: "1 cent flat", 12.6: "13 cents sharp", -40.5: "41 cents flat",
	} {
		if got := cents(c); got != want {
			t.Errorf("%g cents in words: %q, want %q", c, got, want)
		}
	}
}

func TestWords(t *testing.T) {
	it := la(t, false)
	var b strings.Builder
	var names []string
	all := verdicts(it)
	for name := range all {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		b.WriteString(name + "\n")
		for _, s := range []Style{{Names: theory.Movable}, {Names: theory.Letters, ASCII: true}} {
			b.WriteString("  " + s.Headline(it, all[name]) + "\n")
		}
		for _, line := range (Style{}).Details(all[name]) {
			b.WriteString("    " + line + "\n")
		}
	}
	for r := exercise.TooShort; r <= exercise.SeveralTones; r++ {
		if Why(exercise.Verdict{Reason: r}) == "" {
			t.Errorf("no words for the reason %v", r)
		}
		b.WriteString(r.String() + "\n  " + Style{}.Headline(it, exercise.Verdict{Reason: r}) + "\n")
	}
	muted := exercise.Verdict{Reason: exercise.TooQuiet, Level: exercise.Silence}
	b.WriteString("digital silence\n  " + Style{}.Headline(it, muted) + "\n")
	golden(t, "words", b.String())
	for _, v := range []exercise.Verdict{
		{Reason: exercise.TooQuiet, Level: exercise.Silence + 1}, {Reason: exercise.TooShort, Level: exercise.Silence}, {Outcome: exercise.Flat, Level: exercise.Silence},
	} {
		if got := (Style{}).Headline(it, v); strings.Contains(got, "muted") {
			t.Errorf("%+v: %q", v, got)
		}
	}
}

// What is right is told with its tolerance, so that right 41 cents off and too low
// 30 cents off do not contradict each other.
func TestToleranceInWords(t *testing.T) {
	it := la(t, false)
	wide, narrow := exercise.Tolerance{Cents: 50}, exercise.Tolerance{Cents: 25}
	right := exercise.Verdict{Outcome: exercise.InTune, Sung: it.Asked, HasSung: true, Cents: 41, FromAsked: 41}
	low := exercise.Verdict{Outcome: exercise.Flat, Sung: it.Asked, HasSung: true, Cents: -30, FromAsked: -30}
	other := exercise.Verdict{Outcome: exercise.OtherDegree, Sung: theory.Degree{Step: 5}, HasSung: true, Cents: 12, FromAsked: -188}
	for _, c := range []struct{ got, want string }{
		{Style{}.Headline(it, right), "la, right (41 cents sharp)"}, {OutBy(right, wide), ""},
		{Style{}.Headline(it, low), "la, but too low (30 cents flat)"}, {OutBy(low, narrow), "right is within 25 cents"},
		{Style{}.Headline(it, other), "sol instead of la"}, {OutBy(other, narrow), ""},
		{Within(50, 0), "within 50 cents"}, {Within(50, 50), "within 50 cents"}, {Within(25, 50), "within 25 cents now, 50 before"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

// tally is an invented session in A-flat major.
func tally(t testing.TB) exercise.Tally {
	var sum exercise.Tally
	base := la(t, false)
	do, fi, sol := theory.Degree{Step: 1}, theory.Degree{Step: 4, Alter: 1}, theory.Degree{Step: 5}
	for _, c := range []struct {
		from, asked theory.Degree
		outcome     exercise.Outcome
		cents       theory.Cents
	}{
		{do, base.Asked, exercise.InTune, 12}, {do, base.Asked, exercise.Sharp, 41}, {do, base.Asked, exercise.InTune, 20},
		{sol, base.Asked, exercise.Flat, -38}, {do, fi, exercise.OtherDegree, 2}, {base.Asked, do, exercise.InTune, 0.2},
		{do, sol, exercise.Unsteady, 3}, {do, fi, exercise.Ambiguous, 49}, {sol, do, exercise.NotMeasured, 0},
	} {
		it := base
		it.Asked, it.From = c.asked, &c.from
		sum.Add(it, exercise.Verdict{Outcome: c.outcome, Cents: c.cents})
	}
	return sum
}

// What was missed and not told: asked, sung, cents; no cents beside another degree.
func TestMissed(t *testing.T) {
	k := key(t, "Ab major")
	do, fa, la := theory.Degree{Step: 1}, theory.Degree{Step: 4}, theory.Degree{Step: 6}
	it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: la}
	move := it
	move.From, move.Move = &fa, exercise.Up
	skill := func(text string) exercise.Skill {
		s, err := exercise.ParseSkill(text)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	named := skill("quality m7b5")
	var s Style
	list := []Missed{
		s.MissedNote(3, it.Skill(), it, exercise.Verdict{Outcome: exercise.Flat, Sung: la, HasSung: true, Cents: -41.2, FromAsked: -41.2}),
		s.MissedNote(5, move.Skill(), move, exercise.Verdict{Outcome: exercise.OtherDegree, Sung: fa, HasSung: true, Cents: 12, FromAsked: -388}),
		s.MissedNote(7, it.Skill(), it, exercise.Verdict{Outcome: exercise.Unsteady, Sung: la, HasSung: true, Cents: 8, FromAsked: 8}),
		s.MissedNote(8, it.Skill(), it, exercise.Verdict{Outcome: exercise.OtherDegree, Sung: la, HasSung: true, Cents: 8, FromAsked: 8, OctaveShift: -1}),
		s.MissedName(9, k, skill("quality dim7"), &named),
		s.MissedName(10, k, exercise.Skill{Kind: exercise.BassSkill, Degree: do}, nil),
		s.MissedLine(11, k, 2, 9, 12),
	}
	want := `Of 20 that were only noted 7 were missed:

question  asked                sung                 cents
3         la                   la                   41 cents flat
5         fa - la above        fa
7         la                   la                   8 cents sharp, not held steady
8         la                   la                   an octave below
9         dim7                 m7b5
10        bass do              not named
11        a melody of level 2  9 of 12 notes right
`
	if got := s.Missed(20, list); got != want {
		t.Errorf("%s, want\n%s", got, want)
	}
	for _, c := range []struct {
		noted, missed int
		want          string
	}{
		{0, 0, ""}, {1, 0, "The one answer that was only noted was right.\n"}, {4, 0, "The 4 answers that were only noted were right.\n"},
		{4, 1, "Of 4 that were only noted 1 was missed:\n"},
	} {
		if got := s.Missed(c.noted, list[:c.missed]); !strings.HasPrefix(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%d noted, %d missed: %q, want %q", c.noted, c.missed, got, c.want)
		}
	}
	j, err := json.Marshal([]Missed{list[1], list[4], list[6]})
	wantJSON := `[{"index":5,"key":"Ab major","skill":"pair 4-6 up","asked":"6","outcome":"other_degree","sung":"4","octave_shift":0,"cents":12,"cents_from_asked":-388,"named":null},` +
		`{"index":9,"key":"Ab major","skill":"quality dim7","asked":"dim7","outcome":"wrong","sung":null,"octave_shift":0,"cents":null,"cents_from_asked":null,"named":"m7b5"},` +
		`{"index":11,"key":"Ab major","skill":"melody 2","asked":"2","outcome":"wrong","sung":null,"octave_shift":0,"cents":null,"cents_from_asked":null,"named":null,"notes":12,"notes_right":9}]`
	if err != nil || string(j) != wantJSON {
		t.Errorf("%s, %v", j, err)
	}
}

func TestSummary(t *testing.T) {
	k := key(t, "Ab major")
	golden(t, "summary", Style{Names: theory.Letters}.Summary(k, tally(t)))
	golden(t, "summary-ascii", Style{Names: theory.Letters, ASCII: true}.Summary(k, tally(t)))
	golden(t, "summary-json", encode(t, NewSummary(k, tally(t), theory.Letters, true)))
	golden(t, "summary-empty-json", encode(t, NewSummary(k, exercise.Tally{}, theory.Letters, false)))
	if got := (Style{}).Summary(k, exercise.Tally{}); got != "Nothing was answered.\n" {
		t.Errorf("of nothing: %q", got)
	}
	for line := range strings.Lines(Style{ASCII: true}.Summary(k, tally(t))) {
		if strings.ContainsFunc(line, func(r rune) bool { return r > 126 }) || len(line) > 80 || strings.HasSuffix(line, " \n") {
			t.Errorf("not plain, too long, or with blanks at its end: %q", line)
		}
	}
	var one exercise.Tally
	one.Add(la(t, false), exercise.Verdict{})
	if got := (Style{}).Summary(k, one); !strings.HasPrefix(got, "0 of 0 right in A♭ major; 1 that could not be decided counts for nothing.\n") {
		t.Errorf("of one that was not measured: %q", got)
	}
}

// The record of a key holds what the table of the trade says: B above G is mi
// in G major and ti in C major.
func TestKeyTable(t *testing.T) {
	for _, c := range []struct{ key, syllable string }{{"G major", "mi"}, {"C major", "ti"}} {
		k := key(t, c.key)
		it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k)}
		scale := k.ScaleDegrees()
		found := false
		for _, d := range NewKeyTable(it, scale[:], theory.Letters).Degrees {
			if d.Name == "B" {
				found = true
				if d.Syllable != c.syllable || d.Names["movable"] != c.syllable || d.Names["letters"] != "B" || len(d.Names) != len(theory.Namings()) {
					t.Errorf("B in %s: %+v, want %s", c.key, d, c.syllable)
				}
			}
		}
		if !found {
			t.Errorf("no B in %s", c.key)
		}
	}
}
