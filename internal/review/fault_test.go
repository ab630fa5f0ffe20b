package review

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/report"
	"singback/internal/synth"
)

// mistakes are what a take can have planted in it, with the faults that a
// teacher would name for it.
var mistakes = []struct {
	name   string
	faults []string // nil: none that is worth a word
	least  float64  // share of the takes in which it is the heaviest
	plant  func(line grade.Line, sung []grade.Sung, rng *rand.Rand) []grade.Sung
}{
	{"none", nil, 0.98, func(_ grade.Line, s []grade.Sung, _ *rand.Rand) []grade.Sung { return s }},
	{"other tempo", nil, 0.97, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		return stretched(s, 0, 0.5+1.7*rng.Float64())
	}},
	{"wrong", []string{"wrong"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		s[rng.IntN(len(s))].Cents += float64(1-2*rng.IntN(2)) * 100 * float64(2+rng.IntN(3))
		return s
	}},
	{"missing", []string{"omitted"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := rng.IntN(len(s))
		return slices.Delete(s, k, k+1)
	}},
	{"added", []string{"added"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := 1 + rng.IntN(len(s)-1)
		extra := grade.Sung{Cents: s[k-1].Cents + float64(1-2*rng.IntN(2))*100*float64(3+rng.IntN(3)), Onset: s[k].Onset, Offset: s[k].Onset + 0.45}
		if math.Abs(fold(extra.Cents-s[k].Cents)) < 150 { // it would be the next one, sung twice
			extra.Cents = s[k-1].Cents + 0.5*(s[k-1].Cents-extra.Cents)
		}
		return slices.Insert(moved(s, k, 0.5), k, extra)
	}},
	{"late", []string{"rhythm", "waited"}, 0.97, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := long(s, rng)
		s[k].Onset += 0.6 * (s[k].Offset - s[k].Onset)
		return s
	}},
	{"pause", []string{"waited"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		return moved(s, 1+rng.IntN(len(s)-1), 0.6+rng.Float64())
	}},
	{"held", []string{"held", "waited"}, 0.98, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := rng.IntN(len(s) - 1)
		by := 0.6 + 0.8*rng.Float64()
		s[k].Offset += by
		return moved(s, k+1, by)
	}},
	{"short", []string{"short"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := long(s, rng)
		s[k].Offset -= 0.75 * (s[k].Offset - s[k].Onset)
		return s
	}},
	{"drift", []string{"drift"}, 0.99, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		by := float64(1-2*rng.IntN(2)) * (80 + 80*rng.Float64())
		for j := range s {
			s[j].Cents += by * float64(j) / float64(len(s)-1)
		}
		return s
	}},
	{"slower", []string{"tempo"}, 0.97, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		return stretched(s, len(s)/2, 1.5+0.3*rng.Float64())
	}},
	{"restart", []string{"restarts"}, 0.8, func(_ grade.Line, s []grade.Sung, rng *rand.Rand) []grade.Sung {
		k := 3 + rng.IntN(len(s)-3) // so many are sung, then all from the beginning
		again := slices.Clone(s)
		by := s[k-1].Offset + 0.2 - s[0].Onset
		return append(s[:k:k], moved(again, 0, by)...)
	}},
}

// moved has the notes from k on begin later.
func moved(s []grade.Sung, k int, by float64) []grade.Sung {
	for j := k; j < len(s); j++ {
		s[j].Onset, s[j].Offset = s[j].Onset+by, s[j].Offset+by
	}
	return s
}

// stretched has the time from note k on go slower by a factor.
func stretched(s []grade.Sung, k int, by float64) []grade.Sung {
	zero := s[k].Onset
	for j := k; j < len(s); j++ {
		s[j].Onset, s[j].Offset = zero+by*(s[j].Onset-zero), zero+by*(s[j].Offset-zero)
	}
	return s
}

// long is one of the longer notes.
func long(s []grade.Sung, rng *rand.Rand) int {
	usual := make([]float64, len(s))
	for j, n := range s {
		usual[j] = n.Offset - n.Onset
	}
	for {
		if k := rng.IntN(len(s)); usual[k] >= 0.9*middle(usual) {
			return k
		}
	}
}

// randomLine is a line of 7 to 12 notes on the steps of a major scale, and a take of it
// by a fair singer: each note some 8 cents and 15 ms off.
func randomLine(rng *rand.Rand) (grade.Line, []grade.Sung) {
	line := grade.Line{Timed: true}
	at, step := 0.0, 0
	for range 7 + rng.IntN(6) {
		move := (1 + rng.IntN(2)) * (1 - 2*rng.IntN(2))
		if step+move < -3 || step+move > 7 {
			move = -move
		}
		step += move
		length := []float64{0.5, 1, 1, 1, 2}[rng.IntN(5)]
		scale := []int{0, 2, 4, 5, 7, 9, 11}
		octave := int(math.Floor(float64(step) / 7))
		line.Notes = append(line.Notes, grade.Due{Cents: 6000 + 100*float64(scale[step-7*octave]+12*octave), Onset: at, Length: length})
		at += length
	}
	var sung []grade.Sung
	for _, d := range line.Notes {
		sung = append(sung, grade.Sung{Cents: d.Cents, Onset: 0.6 * d.Onset, Offset: 0.6 * (d.Onset + 0.9*d.Length), Level: -20})
	}
	for j := range sung {
		sung[j].Cents += 8 * rng.NormFloat64()
		sung[j].Onset += 0.015 * rng.NormFloat64()
	}
	return line, sung
}

var notesNamed = regexp.MustCompile(`\bnotes? ([0-9, ]*[0-9])`)

// unsupported says what of a fault the numbers of the report do not bear out;
// "" for nothing.
func unsupported(line grade.Line, sung []grade.Sung, g grade.Grading, f grade.Fault) string {
	var named []int
	if m := notesNamed.FindStringSubmatch(report.FaultText(f)); m != nil {
		for s := range strings.SplitSeq(m[1], ", ") {
			n, err := strconv.Atoi(s)
			if err != nil || n < 1 || n > len(g.Notes) {
				return "names a note that is not there"
			}
			named = append(named, n-1)
		}
	}
	all := func(ok func(grade.Note) bool) bool {
		return !slices.ContainsFunc(named, func(i int) bool { return !ok(g.Notes[i]) })
	}
	found := func(want grade.Finding) string {
		if len(named) == 0 || !all(func(n grade.Note) bool { return n.Finding == want }) {
			return "the notes were found otherwise"
		}
		return ""
	}
	number := func(after string) float64 {
		v := math.NaN()
		if _, rest, ok := strings.Cut(report.FaultText(f), after); ok {
			fmt.Sscanf(rest, "%g", &v)
		}
		return v
	}
	switch f.Name {
	case "omitted":
		return found(grade.Omitted)
	case "wrong":
		return found(grade.Wrong)
	case "out_of_tune":
		return found(grade.OutOfTune)
	case "short":
		var lengths []float64
		for _, n := range sung {
			lengths = append(lengths, n.Offset-n.Onset)
		}
		for _, i := range named {
			w, due := g.Notes[i].Answer, line.Notes[i].Length*g.Pace
			if g.Pace == 0 {
				due = middle(lengths)
			}
			long := 0.0
			for _, l := range lengths[w.First : w.First+w.Count] {
				long += l
			}
			if w.Count == 0 || long > 0.8*due {
				return fmt.Sprintf("note %d sounded for %.2f s, and is due for %.2f", i+1, long, due)
			}
		}
		if len(named) == 0 || !all(func(n grade.Note) bool { return n.Finding == grade.Right || n.Finding == grade.NotHeard }) {
			return "of notes that have another fault"
		}
	case "rhythm":
		sum, n := 0.0, 0.0
		for _, v := range g.Notes {
			if v.Timed && (len(named) == 0 || math.Abs(v.Late) >= 1.0/8) {
				sum, n = sum+math.Abs(v.Late), n+1
			}
		}
		said := number("begin ")
		switch {
		case len(named) == 1:
			said = number("begins ")
			if side := g.Notes[named[0]].Late; (side < 0) != strings.HasSuffix(report.FaultText(f), "early") {
				return fmt.Sprintf("it is %.2f late", side)
			}
		case len(named) > 1:
			said = number(": ")
		}
		if !all(func(n grade.Note) bool { return n.Timed && math.Abs(n.Late) >= 1.0/8 }) || !(math.Abs(said-sum/n) < 0.006) {
			return fmt.Sprintf("the mean is %.3f", sum/n)
		}
	case "waited":
		if len(named) == 0 || slices.ContainsFunc(named, func(i int) bool { return !slices.Contains(g.Hesitations, i) }) {
			return "the report has no wait there"
		}
	case "held":
		if len(named) == 0 || !all(func(n grade.Note) bool { return n.Timed && n.Length >= 1.1 }) {
			return "of notes that were not held longer"
		}
	case "tempo":
		var at []int
		for i, n := range g.Notes {
			if n.Timed {
				at = append(at, i)
			}
		}
		// From note to note where nothing comes between, in each half.
		var paces [2][]float64
		for k := 1; k < len(at); k++ {
			from, to := at[k-1], at[k]
			a, b := g.Notes[from], g.Notes[to]
			odd := slices.Contains(g.Hesitations, to)
			for i := from + 1; i < to; i++ {
				odd = odd || g.Notes[i].Finding == grade.Omitted
			}
			for j := a.Answer.First; j < b.Answer.First; j++ {
				odd = odd || slices.Contains(g.Added, j)
			}
			for _, r := range g.Alignment.Restarts {
				odd = odd || r.To > from && r.To <= to || r.From > from && r.From <= to
			}
			if !odd {
				half := 2 * (k - 1) / (len(at) - 1)
				paces[half] = append(paces[half], (b.Onset-a.Onset)/(line.Notes[to].Onset-line.Notes[from].Onset))
			}
		}
		if len(paces[0]) < 2 || len(paces[1]) < 2 {
			return "too few notes for two tempos"
		}
		first, second := middle(paces[0]), middle(paces[1])
		said := number("half is ") / 100
		if strings.Contains(report.FaultText(f), "faster") {
			said = -said
		}
		// A tempo is one over the time of a beat.
		// What lies between is plain only where nobody went back.
		if len(g.Alignment.Restarts) == 0 && !(math.Abs(said-(1-first/second)) < 0.006) {
			return fmt.Sprintf("a beat takes %.3f s, then %.3f s", first, second)
		}
	case "added":
		if n := number("sang "); n != float64(len(g.Added)) && len(g.Added) > 0 {
			return "another number of notes was added"
		}
	case "restarts":
		if n := number("went back "); n != float64(len(g.Alignment.Restarts)) {
			return "the report has another number"
		}
	case "drift":
		if d := number("moved by "); math.Abs(d-g.Drift) > 0.6 {
			return "the report has another drift"
		}
	case "unclear":
		if !all(func(n grade.Note) bool { return n.Finding == grade.Right || n.Finding == grade.NotHeard }) {
			return "of notes that have another fault"
		}
	default:
		return "is no fault's name"
	}
	return ""
}

// checkFaults checks the faults of a grading against its numbers, and returns how
// many are not borne out.
func checkFaults(t *testing.T, name string, line grade.Line, take []grade.Sung, g grade.Grading) (wrong int) {
	t.Helper()
	for _, f := range g.Faults {
		if why := unsupported(line, take, g, f); why != "" {
			wrong++
			t.Errorf("%s: %s %q (%.2f): %s", name, f.Name, report.FaultText(f), f.Cost, why)
		}
	}
	return wrong
}

// worthSaying is the cost from which a fault is shown in words.
const worthSaying = 0.05

// A fault that is named is borne out by the numbers of the same report, and the
// heaviest is what the singer did: of takes as notes, and of takes sung by a
// model voice in a quiet room and listened to.
func TestFaultsAreBorneOut(t *testing.T) {
	for _, way := range []struct {
		name string
		each int
		less float64 // share of takes by which a listener may miss more
		hear func(take []grade.Sung, seed uint64) grade.Performance
	}{
		{"notes", 150, 0, func(take []grade.Sung, _ uint64) grade.Performance {
			return grade.Performance{Notes: take}
		}},
		{"sung", 8, 0.25, func(take []grade.Sung, seed uint64) grade.Performance {
			p, err := listen.Take(t.Context(), audio.NewSamples(singRate, sing(take, seed)), listen.Hearing{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}},
	} {
		if raceDetector {
			way.each = (way.each + 9) / 10
		}
		for k, m := range mistakes {
			rng := rand.New(rand.NewPCG(1, uint64(k)))
			main := map[string]int{}
			least := worthSaying
			if m.faults == nil {
				least *= 8 // what the score of a whole take may lack
			}
			right, contradicted := 0, 0
			for n := range way.each {
				line, sung := randomLine(rng)
				p := way.hear(m.plant(line, sung, rng), uint64(n))
				g, err := grade.Of(line, p, grade.DefaultRules())
				if err != nil {
					t.Fatal(err)
				}
				contradicted += checkFaults(t, m.name, line, p.Notes, g)
				name := "none"
				if len(g.Faults) > 0 && g.Faults[0].Cost >= least {
					name = g.Faults[0].Name
				}
				main[name]++
				if name == "none" && m.faults == nil || slices.Contains(m.faults, name) {
					right++
				}
			}
			share := float64(right) / float64(way.each)
			// So few takes have no share worth the name: only what is said is checked.
			if share < m.least-way.less && !raceDetector {
				t.Errorf("%s, %s: the heaviest fault is %v in %.3f of the takes, want %.2f: %v", way.name, m.name, m.faults, share, m.least-way.less, main)
			}
			t.Logf("%s, %-12s %5.1f %% right, %d contradicted  %v", way.name, m.name, 100*share, contradicted, main)
		}
	}
}

const singRate = 16000

// sing has a model voice sing notes, and a quiet room after them.
func sing(take []grade.Sung, seed uint64) []float64 {
	var notes []synth.Sung
	now := 0.0
	for _, n := range append(slices.Clone(take), grade.Sung{Onset: take[len(take)-1].Offset + 1}) {
		if gap := n.Onset + 0.5 - now; gap > 0.002 {
			notes, now = append(notes, synth.Rest(gap)), now+gap
		}
		if length := n.Offset + 0.5 - now; length > 0 {
			notes, now = append(notes, synth.NewSung(440*math.Exp2((n.Cents-6900)/1200), length)), now+length
		}
	}
	x, _ := synth.Voice{SampleRate: singRate, Type: synth.Alto}.Sing(notes, seed)
	for i, v := range synth.Pink(len(x), seed) {
		x[i] += v * math.Pow(10, -75.0/20)
	}
	return x
}

// Whatever goes wrong at once, with rhythm and without, no fault is named that
// the numbers do not bear out, and the score is that of the measures.
func TestFaultsOfPoorTakes(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	takes := 1500
	if raceDetector {
		takes /= 10
	}
	for n := range takes {
		line, take := randomLine(rng)
		var planted []string
		for range 2 + rng.IntN(4) {
			if m := mistakes[rng.IntN(len(mistakes))]; len(take) > 4 {
				take = m.plant(line, take, rng)
				planted = append(planted, m.name)
			}
		}
		slices.SortFunc(take, func(a, b grade.Sung) int { return cmp.Compare(a.Onset, b.Onset) })
		rules := grade.DefaultRules()
		rules.Key, rules.Tolerance = n%2 == 0, []float64{20, rules.Tolerance}[n/2%2]
		switch n % 3 {
		case 1:
			line.Timed = false
		case 2:
			line.Performed = true
		}
		g, err := grade.Of(line, grade.Performance{Notes: take}, rules)
		if err != nil {
			t.Fatal(err)
		}
		checkFaults(t, fmt.Sprint(planted), line, take, g)
	}
}

func middle(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

func fold(c float64) float64 { return c - 1200*math.Round(c/1200) }
