package compose_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"singback/exercise"
	. "singback/exercise/compose"
	"singback/theory"
)

// The checker below is written from the published ladder and constraints, and
// looks only at written scores. It shares nothing with the generator.

// sight is a score as the checker sees it.
type sight struct {
	score theory.Score
	notes []sightNote
}

type sightNote struct {
	midi    int
	staff   int // letters, counted from C-1
	degree  theory.Degree
	steps   int // above the tonic, in the octave chosen
	altered int // against the key signature
	at, end float64
	bar     int
}

func frac(f theory.Fraction) float64 { return float64(f.Num) / float64(f.Den) }

func keyAt(s theory.Score, at float64) theory.Key {
	k := s.Key
	for _, c := range s.Changes {
		if frac(c.At) <= at {
			k = c.Key
		}
	}
	return k
}

func look(s theory.Score) sight {
	v := sight{score: s}
	at := 0.0
	bars := s.Bars()
	for _, w := range s.Notes {
		end := at + frac(w.Length)
		if !w.Rest {
			k := keyAt(s, at)
			n := sightNote{midi: w.Pitch.MIDI(), staff: 7*w.Pitch.Octave + int(w.Pitch.Letter), at: at, end: end, degree: k.Degree(w.Pitch.Note)}
			for _, own := range k.ScaleDegrees() {
				if own.Step == n.degree.Step {
					n.altered = n.degree.Alter - own.Alter
				}
			}
			n.steps = n.staff - int(s.Key.Tonic.Letter)
			for b, from := range bars {
				if frac(from) <= at+1e-9 {
					n.bar = b
				}
			}
			v.notes = append(v.notes, n)
		}
		at = end
	}
	return v
}

// accent is the weight of a point of a bar: the first, the middle of a bar of
// four, the beats, and what lies between them.
func accent(m theory.Meter, at float64) int {
	beat := frac(m.Pulse())
	n := at / beat
	switch {
	case math.Abs(at) < 1e-9:
		return 3
	case math.Abs(n-math.Round(n)) > 1e-9:
		return 0
	case m == theory.Meter{Beats: 4, Unit: 4} && math.Round(n) == 2:
		return 2
	}
	return 1
}

func near(a, b float64) bool { return math.Abs(a-b) < 1e-9 }

// features returns what the score asks of a reader, by level, where the tonic
// lies so many octaves up.
func features(v sight, octave int, minorCounts bool) map[string]int {
	f := map[string]int{}
	s := v.score
	switch s.Meter {
	case theory.Meter{Beats: 4, Unit: 4}:
	case theory.Meter{Beats: 2, Unit: 4}:
		f["2/4"] = 1
	case theory.Meter{Beats: 3, Unit: 4}:
		f["3/4"] = 2
	case theory.Meter{Beats: 6, Unit: 8}:
		f["6/8"] = 4
	default:
		f["meter "+s.Meter.String()] = 99
	}
	if s.Start.Num > 0 {
		f["pickup"] = 4
	}
	if s.Key.Mode == theory.Minor && minorCounts {
		f["minor"] = 5
	}
	for _, c := range s.Changes {
		if c.Key != s.Key {
			f["modulation"] = 7
		}
		if c.Meter != s.Meter {
			f["meter change"] = 7
		}
	}
	meterAt := func(at float64) (theory.Meter, float64) {
		m, from := s.Meter, 0.0
		for _, b := range s.Bars() {
			if frac(b) <= at+1e-9 {
				from = frac(b)
			}
		}
		for _, c := range s.Changes {
			if frac(c.At) <= at+1e-9 {
				m = c.Meter
			}
		}
		if from == 0 && s.Start.Num > 0 {
			return m, frac(s.Start) - frac(m.Bar()) // counted from its missing beginning
		}
		return m, from
	}
	at := 0.0
	prevDotted := false
	for _, w := range s.Notes {
		m, from := meterAt(at)
		length := frac(w.Length)
		end := at + length
		if w.Rest {
			f["rests"] = 3
		}
		inBar := from + frac(m.Bar())
		crosses := end > inBar+1e-9 && !w.Rest
		if crosses {
			f["ties"] = 5
		}
		if !w.Rest && !crosses {
			own := accent(m, at-from)
			for p := at + 0.25; p < end-1e-9; p += 0.25 {
				if accent(m, p-from) > own {
					f["syncopation"] = 5
				}
			}
		}
		simple := !m.Compound()
		switch {
		case crosses:
		case near(length, 4):
			f["whole"] = 2
		case near(length, 1.0/3):
			f["triplets"] = 7
		case near(length, 0.25) || near(length, 0.75):
			f["sixteenths"] = 6
		case simple && (near(length, 1.5) || near(length, 3)):
			f["dots"] = 3
		case simple && near(length, 0.5) && !prevDotted:
			if f["syncopation"] == 0 {
				f["eighths"] = max(f["eighths"], 2)
			}
		case near(length, 0.5), near(length, 1), near(length, 2), !simple && (near(length, 1.5) || near(length, 3)):
		default:
			f[fmt.Sprint("length ", length)] = 99
		}
		prevDotted = near(length, 1.5)
		at = end
	}
	low, high := 999, -999
	for i, n := range v.notes {
		at := n.steps - 7*octave
		low, high = min(low, at), max(high, at)
		if n.altered != 0 && keyAt(s, n.at).Mode == theory.Minor && n.altered == 1 && n.degree.Step >= 6 {
			if s.Key.Mode == theory.Minor {
				f["minor forms"] = 5
			}
		} else if n.altered != 0 {
			f["altered"] = 6
		}
		switch {
		case at >= 0 && at <= 2:
		case at == 4:
			f["sol"] = 1
		case at == 3 || at == 5:
			f["fa la"] = 2
		case at == -3 || at == -1:
			f["below"] = 3
		case at == 6 || at == 7:
			f["above"] = 3
		case at >= -3 && at <= 9:
			f["ninth"] = 4
		case at >= -4 && at <= 10:
			f["tenth"] = 5
		case at >= -5 && at <= 11:
			f["twelfth"] = 7
		default:
			f["range"] = 99
		}
		if i == 0 {
			continue
		}
		p := v.notes[i-1]
		staff, semis := n.staff-p.staff, n.midi-p.midi
		a, b := p.degree.Step, n.degree.Step
		if staff < 0 {
			staff, semis, a, b = -staff, -semis, b, a
		}
		semis = max(semis, -semis)
		if staff <= 1 && semis <= 2 {
			continue
		}
		pair := fmt.Sprint(a, b, staff)
		switch {
		case staff <= 1, semis > 12:
			f["move"] = 99
		case p.altered != 0 || n.altered != 0:
			f["chromatic leaps"] = 7
			if semis == 6 || semis >= 10 && semis < 12 {
				f["any leap"] = 7
			}
		case semis == 6 || semis == 10 || semis == 11:
			f["any leap"] = 7
		case pair == "1 3 2":
			f["do-mi"] = 1
		case pair == "3 5 2":
			f["sol"] = 1
		case pair == "1 5 4":
			f["triad"] = 2
		case pair == "5 1 3":
			f["fourth"] = 3
		case pair == "5 7 2", pair == "7 2 2", pair == "4 6 2", pair == "6 1 2":
			f["thirds"] = 4
		case semis <= 9:
			f["sixths"] = 5
		default:
			f["octaves"] = 6
		}
	}
	for _, limit := range []struct {
		name        string
		level, span int
	}{{"ninth", 4, 8}, {"tenth", 5, 9}, {"twelfth", 7, 11}, {"range", 99, 99}} {
		before := map[string]int{"ninth": 7, "tenth": 8, "twelfth": 9, "range": 11}[limit.name]
		if high-low > before && high-low <= limit.span {
			f[limit.name] = limit.level
		}
	}
	// What belongs to one difficulty counts once.
	for part, whole := range map[string]string{"minor forms": "minor"} {
		if f[part] != 0 && f[whole] == f[part] {
			delete(f, part)
		}
	}
	return f
}

// fits checks one melody. drawn: the key was not asked for.
func fits(s theory.Score, level int, drawn bool, r theory.Range) error {
	if err := s.Validate(); err != nil {
		return err
	}
	v := look(s)
	n := len(v.notes)
	if n < 4 {
		return fmt.Errorf("only %d notes", n)
	}
	// Degrees at both ends.
	if first := v.notes[0]; first.altered != 0 || !slices.Contains([]int{1, 3, 5}, first.degree.Step) {
		return fmt.Errorf("starts on %v", first.degree)
	}
	last, before := v.notes[n-1], v.notes[n-2]
	if last.degree != (theory.Degree{Step: 1}) {
		return fmt.Errorf("ends on %v", last.degree)
	}
	if !slices.Contains([]theory.Degree{{Step: 2}, {Step: 7}, {Step: 5}}, before.degree) {
		return fmt.Errorf("do is reached from %v", before.degree)
	}
	for i, x := range v.notes {
		if r != (theory.Range{}) && (x.midi < r.Low || x.midi > r.High) {
			return fmt.Errorf("note %d, MIDI %d, lies outside %v", i+1, x.midi, r)
		}
		if i == 0 {
			continue
		}
		p := v.notes[i-1]
		staff, semis := x.staff-p.staff, x.midi-p.midi
		isStep := max(staff, -staff) <= 1 && max(semis, -semis) <= 2
		if !isStep && level < 7 && (x.altered != 0 || p.altered != 0) {
			return fmt.Errorf("a leap to or from an altered note at %d", i+1)
		}
		if !isStep && p.altered != 0 {
			return fmt.Errorf("a leap from an altered note at %d", i+1)
		}
		// A leap of more than a third goes on by a step back.
		if max(staff, -staff) > 2 && i+1 < n {
			y := v.notes[i+1]
			back, size := y.staff-x.staff, y.midi-x.midi
			if back*staff >= 0 || max(back, -back) != 1 || max(size, -size) > 2 {
				return fmt.Errorf("no step back after the leap to note %d", i+1)
			}
		}
		// ti and fi.
		if p.degree == (theory.Degree{Step: 7}) && semis != 0 && !(staff == 1 && semis == 1) {
			if !(p.altered == 0 && staff == -1 && i >= 2 && v.notes[i-2].staff == p.staff+1) {
				return fmt.Errorf("ti at %d goes %d letters, %d semitones", i, staff, semis)
			}
		}
		if p.altered == 1 && p.degree == (theory.Degree{Step: 4, Alter: 1}) && semis != 0 && !(staff == 1 && semis == 1) {
			return fmt.Errorf("fi at %d goes %d letters, %d semitones", i, staff, semis)
		}
		if p.altered != 0 && semis != 0 && (staff != p.altered || max(semis, -semis) > 2) {
			return fmt.Errorf("the altered note at %d goes %d letters, %d semitones", i, staff, semis)
		}
		if i >= 3 && x.midi == p.midi && x.midi == v.notes[i-2].midi && x.midi == v.notes[i-3].midi {
			return fmt.Errorf("the same note four times at %d", i+1)
		}
	}
	// The tonic may lie in the octave that makes the melody easiest.
	best, most := "", 99
	for octave := -1; octave < 10; octave++ {
		f := features(v, octave, drawn)
		if level < 2 {
			delete(f, "below")
		}
		news, wrong := 0, 0
		for name, l := range f {
			switch {
			case l > level:
				wrong++
			case l == level && !(name == "fourth" && level == 3 && (f["below"] != 0 || f["above"] != 0)) &&
				!(name == "minor forms" && !drawn && level == 5):
				news++
			}
		}
		if bad := 10*wrong + max(0, news-1); bad < most {
			most, best = bad, fmt.Sprint(f)
		}
	}
	if most > 0 {
		return fmt.Errorf("more than one new difficulty for level %d, or one of a higher level: %s", level, best)
	}
	// Keys.
	if most := []int{1: 7, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5, 7: 7}[level]; drawn {
		if n := s.Key.Signature(); max(n, -n) > most || s.Key.Mode == theory.Minor && level < 5 {
			return fmt.Errorf("%v is no key of level %d", s.Key, level)
		}
	}
	if (len(s.Changes) > 0) && level < 7 {
		return fmt.Errorf("changes at level %d: %v", level, s.Changes)
	}
	return nil
}

func TestMelodiesKeepTheRules(t *testing.T) {
	ranges := []theory.Range{{}}
	for _, name := range exercise.Voices() {
		v, err := exercise.VoiceNamed(name)
		if err != nil {
			t.Fatal(err)
		}
		ranges = append(ranges, v.Range, exercise.Working(v.Range))
	}
	keys := []*theory.Key{nil}
	for _, k := range theory.Keys() {
		keys = append(keys, &k)
	}
	for level := 1; level <= Levels; level++ {
		t.Run(fmt.Sprint(level), func(t *testing.T) {
			t.Parallel()
			items := 10_000
			if raceDetector {
				items = 500 // ten times slower, and nothing here runs at once
			}
			each := items/(len(keys)*len(ranges)) + 1
			made := 0
			for i, r := range ranges {
				for j, k := range keys {
					ms, err := NewMelodies(MelodyOrder{Level: level, Key: k, Range: r, Count: each, Seed: uint64(1000 * (i*len(keys) + j))})
					if err != nil {
						t.Fatalf("%v, %v: %v", k, r, err)
					}
					for _, m := range ms {
						made++
						if err := fits(m.Score, level, k == nil, r); err != nil {
							t.Fatalf("key %v, range %v, seed %d (%s): %v\n%v", k, r, m.Seed, m.Skill, err, m.Score)
						}
						if k != nil && m.Score.Key != *k {
							t.Fatalf("asked for %v, got %v", k, m.Score.Key)
						}
					}
				}
			}
			if made < items {
				t.Errorf("only %d melodies were checked", made)
			}
		})
	}
}

// sounding is what a melody is, whatever its key: the checker's own measure of
// sameness.
func sounding(s theory.Score) string {
	text := fmt.Sprint(s.Meter, s.Start, s.Key.Mode)
	first := -1
	for _, n := range s.Notes {
		if n.Rest {
			text += fmt.Sprint(" -", n.Length)
			continue
		}
		if first < 0 {
			first = n.Pitch.MIDI()
			text += fmt.Sprint((first - s.Key.Tonic.PitchClass()) % 12)
		}
		text += fmt.Sprint(" ", n.Pitch.MIDI()-first, n.Length)
	}
	return text
}

func TestSeriesNeverRepeatsAndComesAgain(t *testing.T) {
	for level := 1; level <= Levels; level++ {
		o := MelodyOrder{Level: level, Count: exercise.MaxCount, Seed: 7}
		ms, err := NewMelodies(o)
		if err != nil {
			t.Fatal(err)
		}
		seen := map[string]int{}
		for i, m := range ms {
			if j, ok := seen[sounding(m.Score)]; ok {
				t.Errorf("level %d: melodies %d and %d are the same", level, j, i)
			}
			seen[sounding(m.Score)] = i
		}
		if again, _ := NewMelodies(o); !reflect.DeepEqual(ms, again) {
			t.Errorf("level %d: the same seed gives another series", level)
		}
		// One of them by its own seed.
		one := MelodyOrder{Level: level, Count: 1, Seed: ms[500].Seed}
		if level == 1 {
			one.Key = &ms[0].Score.Key
		}
		if got, err := NewMelodies(one); err != nil || !reflect.DeepEqual(got[0], ms[500]) {
			t.Errorf("level %d: seed %d gives %v, %v; want %v", level, one.Seed, got, err, ms[500])
		}
		// What has been sung does not come again.
		o.Count = 5
		for _, m := range ms[:5] {
			o.Not = append(o.Not, m.Score)
		}
		next, err := NewMelodies(o)
		if err != nil || !reflect.DeepEqual(next, ms[5:10]) {
			t.Errorf("level %d: without the first five: %v", level, err)
		}
	}
}

// The shares of intervals and degrees among 57 082 intervals within a bar in
// the melodies of 194 rock songs (RS 200: de Clercq & Temperley 2011, Temperley
// & de Clercq 2013), in percent. The melodies of the upper levels must lean to
// them: over the interval sizes and the degrees of major, Spearman's rank
// correlation at least 0.8 and a total variation distance below 0.2.
func TestMelodiesLeanToPublishedShares(t *testing.T) {
	intervals := []float64{31, 9.3, 31.4, 13.8, 4.6, 4.9, 0.4, 2.1, 0, 1.0, 0, 0, 0.5}
	degrees := []float64{27, 13, 13, 8, 15, 9, 2}
	major := theory.Key{}
	var gotIntervals [13]float64
	var gotDegrees [7]float64
	falls, rises := 0.0, 0.0
	for level := 4; level <= Levels; level++ {
		ms, err := NewMelodies(MelodyOrder{Level: level, Key: &major, Count: 500, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range ms {
			v := look(m.Score)
			for i, n := range v.notes {
				if n.altered == 0 && keyAt(m.Score, n.at) == major {
					gotDegrees[n.degree.Step-1]++
				}
				if i > 0 && n.bar == v.notes[i-1].bar {
					move := n.midi - v.notes[i-1].midi
					gotIntervals[max(move, -move)]++
					switch move {
					case -1, -2:
						falls++
					case 1, 2:
						rises++
					}
				}
			}
		}
	}
	for _, c := range []struct {
		what      string
		got, want []float64
	}{{"intervals", gotIntervals[:], intervals}, {"degrees", gotDegrees[:], degrees}} {
		got, want := shares(c.got), shares(c.want)
		distance := 0.0
		for i := range got {
			distance += math.Abs(got[i]-want[i]) / 2
		}
		rho := spearman(got, want)
		t.Logf("%s: %.3f, published %.3f: rank correlation %.2f, distance %.2f", c.what, got, want, rho, distance)
		if rho < 0.8 || distance > 0.2 {
			t.Errorf("%s: rank correlation %.2f, distance %.2f; want at least 0.8, at most 0.2", c.what, rho, distance)
		}
	}
	if falls <= rises {
		t.Errorf("%g falling steps, %g rising ones: falling ones are the more common", falls, rises)
	}
}

func shares(xs []float64) []float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	out := make([]float64, len(xs))
	for i, x := range xs {
		out[i] = x / sum
	}
	return out
}

func spearman(a, b []float64) float64 {
	rank := func(xs []float64) []float64 {
		r := make([]float64, len(xs))
		for i, x := range xs {
			for _, y := range xs {
				switch {
				case y < x:
					r[i]++
				case y == x:
					r[i] += 0.5
				}
			}
		}
		return r
	}
	ra, rb := rank(a), rank(b)
	mean := float64(len(a)) / 2
	var ab, aa, bb float64
	for i := range ra {
		ab += (ra[i] - mean) * (rb[i] - mean)
		aa += (ra[i] - mean) * (ra[i] - mean)
		bb += (rb[i] - mean) * (rb[i] - mean)
	}
	return ab / math.Sqrt(aa*bb)
}

func TestMelodyRefusals(t *testing.T) {
	dorian := theory.Key{Mode: theory.Dorian}
	far := theory.Key{Tonic: theory.Note{Letter: theory.G, Alter: 1}}
	for _, o := range []MelodyOrder{
		{Level: 0, Count: 1}, {Level: 8, Count: 1}, {Level: 1}, {Level: 1, Count: exercise.MaxCount + 1},
		{Level: 1, Count: 1, Key: &dorian}, {Level: 1, Count: 1, Key: &far},
		{Level: 1, Count: 1, Range: theory.Range{Low: 60, High: 59}}, {Level: 1, Count: 1, Range: theory.Range{Low: 60, High: 62}}, {Level: 7, Count: 1, Range: theory.Range{Low: 60, High: 64}, Key: &theory.Key{Tonic: theory.Note{Letter: theory.B}}},
	} {
		if ms, err := NewMelodies(o); err == nil {
			t.Errorf("%+v: %v", o, ms)
		}
	}
}
