package choir

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/notation"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// table reads a CSV file of the reference data, which may be packed.
func table(t testing.TB, folder, name string) [][]string {
	t.Helper()
	_, rows := testkit.Reference(t, folder, name)
	return rows
}

// hymn is one of the 104 hymns in four voices of the open hymnal (reference/hymns, its
// README.md has the source), as parts.
type hymn struct {
	name  string
	parts []notation.Part
}

// grid is how fine the times of the hymns are read, parts of a quarter note: abc2midi lets
// some notes go 1/24 early.
const grid = 24

// hymns are all of them. What lies between the notes of a voice by less than an eighth of
// a quarter is no rest.
func hymns(t testing.TB) []hymn {
	t.Helper()
	type note struct{ from, to, midi int }
	notes := map[string][]note{} // by hymn and voice
	for _, row := range table(t, "hymns", "notes.csv.gz") {
		at, err1 := strconv.ParseFloat(row[2], 64)
		beats, err2 := strconv.ParseFloat(row[3], 64)
		midi, err3 := strconv.Atoi(row[4])
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatalf("row %v", row)
		}
		round := func(v float64) int { return int(math.Round(v * grid)) }
		id := row[0] + " " + row[1]
		notes[id] = append(notes[id], note{round(at), round(at + beats), midi})
	}
	var out []hymn
	for _, row := range table(t, "hymns", "hymns.csv") {
		signature, err := theory.ParseKey(row[2] + " major")
		if err != nil {
			t.Fatal(err)
		}
		key := signature
		if tonic, err := strconv.Atoi(row[4]); err == nil {
			for mode := theory.Major; mode <= theory.Locrian; mode++ {
				if k := theory.TwelveKeys(mode)[tonic]; k.Signature() == signature.Signature() {
					key = k
				}
			}
		}
		meter, _ := theory.ParseMeter(row[5])
		tempo := 0.0
		if _, bpm, ok := strings.Cut(row[6], "="); ok {
			if tempo, err = strconv.ParseFloat(bpm, 64); err != nil {
				t.Fatal(err)
			}
			if meter.Valid() {
				tempo /= meter.Pulse().Float()
			}
		}
		h := hymn{name: row[0]}
		for i, voice := range []string{"Soprano", "Alto", "Tenor", "Bass"} {
			s := theory.Score{Title: row[1], Key: key, Meter: meter, Tempo: tempo}
			ns := notes[row[0]+" "+voice[:1]]
			slices.SortStableFunc(ns, func(a, b note) int { return a.from - b.from })
			at := 0
			var above []int
			for k, n := range ns {
				if k+1 < len(ns) {
					if next := ns[k+1].from; next < n.from+grid/8 {
						ns[k+1].from = n.from
						continue // two at once, where a part divides: abc2midi begins them 1/24 apart; the second stays
					} else if n.to > next || next-n.to < grid/8 {
						n.to = next
					}
				}
				if n.from > at {
					s.Notes = append(s.Notes, theory.Written{Rest: true, Length: theory.NewFraction(n.from-at, grid)})
				}
				s.Notes = append(s.Notes, theory.Written{Pitch: theory.Pitch{Octave: n.midi}, Length: theory.NewFraction(n.to-n.from, grid)})
				above = append(above, n.midi-key.Tonic.PitchClass())
				at = n.to
			}
			spelled := key.SpellLine(above)
			for k := range s.Notes {
				if n := &s.Notes[k]; !n.Rest {
					midi := n.Pitch.Octave
					p := theory.Pitch{Note: key.Note(spelled[0])}
					p.Octave = (midi - p.MIDI()) / 12
					n.Pitch, spelled = p, spelled[1:]
				}
			}
			if err := s.Validate(); err != nil {
				t.Fatalf("%s, %s: %v", h.name, voice, err)
			}
			h.parts = append(h.parts, notation.Part{ID: fmt.Sprint(i + 1), Name: voice, Score: s})
		}
		out = append(out, h)
	}
	return out
}

// heard is the sound of a line: pitches with beginning and end in parts of 1/24 quarter.
func heard(s theory.Score) string {
	var b strings.Builder
	at := theory.NewFraction(0, 1)
	for _, n := range s.Notes {
		end := at.Plus(n.Length)
		if !n.Rest {
			fmt.Fprintf(&b, "%d %d-%d;", n.Pitch.MIDI(), grid*at.Num/at.Den, grid*end.Num/end.Den)
		}
		at = end
	}
	return b.String()
}

// Every part of every hymn, written as MusicXML and ABC with all parts, is read back as
// the same notes, and by its name alone as well.
func TestHymnsAreRead(t *testing.T) {
	all := hymns(t)
	if len(all) != 104 {
		t.Fatalf("%d hymns", len(all))
	}
	if testing.Short() || os.Getenv("SINGBACK_HYMNS") != "all" {
		all = all[:12]
	}
	for _, h := range all {
		for _, f := range []notation.Format{notation.MusicXML, notation.ABC} {
			var b bytes.Buffer
			if err := notation.WriteParts(&b, h.parts, f); err != nil {
				t.Errorf("%s as %v: %v", h.name, f, err)
				continue
			}
			data := b.Bytes()
			got, _, err := notation.ReadParts("hymn", bytes.NewReader(data), notation.Options{})
			if err != nil || len(got) != 4 {
				t.Errorf("%s as %v: %v, %d parts", h.name, f, err, len(got))
				continue
			}
			for i, p := range h.parts {
				want := heard(p.Score)
				if got[i].Name != p.Name || heard(got[i].Score) != want {
					t.Errorf("%s as %v, %s:\n%s\nwant\n%s", h.name, f, p.Name, heard(got[i].Score), want)
				}
				one, _, err := notation.Parse("hymn", data, notation.Options{Voice: p.Name})
				if err != nil || heard(one) != want {
					t.Errorf("%s as %v, --part %s: %v", h.name, f, p.Name, err)
				}
			}
		}
	}
}

// The medians by which a voice is supposed, and what is said of congregations, counted
// again: TestHymnRanges is beside the table of 104 public-domain hymns.
func TestHymnRanges(t *testing.T) {
	var medians [4][]theory.Written
	within, fits := 0, 0
	all := hymns(t)
	for _, h := range all {
		for i, p := range h.parts {
			medians[i] = append(medians[i], p.Score.Notes...)
		}
		tune := h.parts[0].Score
		if beyond(tune, Congregation, 0).Notes == 0 {
			within++
		}
		for by := -12; by <= 12; by++ {
			if beyond(tune, Congregation, by).Notes == 0 {
				fits++
				break
			}
		}
	}
	for i, m := range hymnMedians {
		if got := reachOf(theory.Score{Notes: medians[i]}).Median; got != m.median {
			t.Errorf("%s: median %g, want %g", m.voice, got, m.median)
		}
	}
	if share := math.Round(100 * float64(within) / float64(len(all))); share != 58 || fits != len(all) {
		t.Errorf("%g of 100 tunes lie from A3 to D5 and %d of %d after moving; want 58, and all", share, fits, len(all))
	}
}

// voiceTypes sing the four parts.
var voiceTypes = [4]synth.VoiceType{synth.Soprano, synth.Alto, synth.Tenor, synth.Bass}

// outcome is one part of one hymn sung.
type outcome struct {
	hymn, part   string
	notes, right int // of the take without a mistake
	found        bool
	alarms       int // other notes called wrong in the take with a mistake
	said         string
}

// sing has a part sung by the simulated singer: with consonants, pitches that scatter by
// 6 cents (SD), a scoop, vibrato on long notes, in a quiet room. The note planted, −1 for
// none, is sung so many semitones off.
func sing(s theory.Score, tuning theory.Tuning, quarter float64, voice synth.VoiceType, planted, by int, seed uint64) audio.Source {
	const rate = 16000
	rng := rand.New(rand.NewPCG(seed, 11))
	notes := []synth.Sung{synth.Rest(0.5)}
	for i, n := range synth.Line(s, tuning, quarter) {
		if n.Hz == 0 {
			notes = append(notes, synth.Rest(n.Duration))
			continue
		}
		cents := max(-15, min(15, 6*rng.NormFloat64()))
		if i == planted {
			cents += 100 * float64(by)
		}
		one := synth.NewSung(n.Hz*math.Exp2(cents/1200), n.Duration)
		one.Vowel, one.Consonant = synth.Vowel(rng.IntN(5)), synth.Consonant(1+rng.IntN(3))
		if n.Duration < 0.2 { // no hiss of 0.1 s fits into it
			one.Consonant = synth.Plosive
		}
		if n.Duration > 0.8 {
			one.VibratoHz, one.VibratoCents = 5.5, 20
		}
		notes = append(notes, one)
	}
	notes = append(notes, synth.Rest(0.5))
	x, _ := synth.Voice{SampleRate: rate, Type: voice}.Sing(notes, seed)
	for i, v := range synth.Pink(len(x), seed) {
		x[i] += 0.0002 * v
	}
	return audio.NewSamples(rate, x)
}

// gradeTake grades a source against a part.
func gradeTake(t testing.TB, s theory.Score, tuning theory.Tuning, src audio.Source) grade.Grading {
	t.Helper()
	take, err := listen.Take(t.Context(), src, listen.Hearing{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	line, err := grade.NewLine(s, tuning)
	if err != nil {
		t.Fatal(err)
	}
	g, err := grade.Of(line, take, grade.DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// judge has a part sung right, and with one note wrong by two or three semitones, and
// says what the grading made of both.
func judge(t testing.TB, h hymn, part int) outcome {
	s := h.parts[part].Score
	tuning := theory.Tuning{A4: theory.DefaultA4}
	seed := uint64(len(h.name)*1000 + part)
	for _, c := range h.name {
		seed = seed*31 + uint64(c)
	}
	const quarter = 0.5 // seconds: 120 quarters a minute, the median of the hymns' tempos
	o := outcome{hymn: h.name, part: h.parts[part].Name}
	g := gradeTake(t, s, tuning, sing(s, tuning, quarter, voiceTypes[part], -1, 0, seed))
	o.notes, o.right = len(g.Notes), g.Right
	for i, n := range g.Notes {
		if n.Finding != grade.Right {
			o.said += fmt.Sprintf(" %d:%v%+.0f", i+1, n.Finding, n.Cents)
		}
	}
	// A note of at least half a quarter is planted.
	rng := rand.New(rand.NewPCG(seed, 5))
	var may []int
	var written []int
	for i, n := range s.Notes {
		if !n.Rest {
			written = append(written, i)
			if n.Length.Float() >= 0.5 {
				may = append(may, len(written)-1)
			}
		}
	}
	at := may[rng.IntN(len(may))]
	by := []int{-3, -2, 2, 3}[rng.IntN(4)]
	g = gradeTake(t, s, tuning, sing(s, tuning, quarter, voiceTypes[part], written[at], by, seed+1))
	for i, n := range g.Notes {
		bad := n.Finding != grade.Right
		if i == at {
			o.found = bad
			if !bad {
				o.said += fmt.Sprintf(" missed %d by %d", i+1, by)
			}
		} else if bad {
			o.alarms++
			o.said += fmt.Sprintf(" alarm %d:%v%+.0f beside %d", i+1, n.Finding, n.Cents, at+1)
		}
	}
	return o
}

// Parts of hymns, sung by the simulated singer, are graded right, and one wrong note is
// found at its place. As a rule eight parts of eight hymns; SINGBACK_HYMNS=all (make
// hymns) sings all 416 and keeps what came of it.
func TestHymnsAreSung(t *testing.T) {
	all := hymns(t)
	whole := os.Getenv("SINGBACK_HYMNS") == "all"
	type job struct {
		h    hymn
		part int
	}
	var jobs []job
	for turn := range 4 {
		for i, h := range all { // each hymn once before the first is sung again
			part := (i + turn) % 4
			if whole || i%13 == 0 && part == i/13%4 {
				if !whole { // the first notes are enough to show that it works
					h.parts = slices.Clone(h.parts)
					s := &h.parts[part].Score
					s.Notes = s.Notes[:min(len(s.Notes), 24)]
				}
				jobs = append(jobs, job{h, part})
			}
		}
	}
	if testing.Short() {
		jobs = jobs[:2]
	}
	outcomes := make([]outcome, len(jobs))
	var group sync.WaitGroup
	next := make(chan int)
	workers := runtime.GOMAXPROCS(0)
	for range workers {
		group.Go(func() {
			for i := range next {
				outcomes[i] = judge(t, jobs[i].h, jobs[i].part)
				if o := outcomes[i]; whole {
					t.Logf("%d of %d, %s %s: %d of %d right, found %v, %d alarms", i+1, len(jobs), o.hymn, o.part, o.right, o.notes, o.found, o.alarms)
				}
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	group.Wait()
	var sums [5]struct{ parts, whole, notes, right, found, alarms int }
	var odd []string
	for i, o := range outcomes {
		for _, k := range []int{jobs[i].part, 4} {
			s := &sums[k]
			s.parts++
			s.notes, s.right, s.alarms = s.notes+o.notes, s.right+o.right, s.alarms+o.alarms
			if o.right == o.notes {
				s.whole++
			}
			if o.found {
				s.found++
			}
		}
		if o.said != "" {
			odd = append(odd, fmt.Sprintf("%s, %s:%s", o.hymn, o.part, o.said))
		}
	}
	text := "| part | parts | all notes right | notes | right | wrong notes planted | found at their place | other notes called wrong beside them |\n|---|---|---|---|---|---|---|---|\n"
	for k, name := range []string{"soprano", "alto", "tenor", "bass", "all"} {
		s := sums[k]
		text += fmt.Sprintf("| %s | %d | %d | %d | %d | %d | %d | %d |\n", name, s.parts, s.whole, s.notes, s.right, s.parts, s.found, s.alarms)
	}
	t.Logf("\n%s\n%s", text, strings.Join(odd, "\n"))
	sum := sums[4]
	if !whole {
		if sum.right < sum.notes || sum.found < sum.parts || sum.alarms > 0 {
			t.Errorf("%d of %d notes right, %d of %d planted notes found, %d false alarms; want all, all, none", sum.right, sum.notes, sum.found, sum.parts, sum.alarms)
		}
		return
	}
	if share := float64(sum.right) / float64(sum.notes); share < 0.995 || float64(sum.found) < 0.97*float64(sum.parts) {
		t.Errorf("%.4f of the notes right, %d of %d planted notes found", share, sum.found, sum.parts)
	}
	if folder := os.Getenv("SINGBACK_RESULTS"); folder != "" {
		if len(odd) > 60 {
			odd = append(odd[:60], "…")
		}
		day, err := time.Parse(time.DateOnly, os.Getenv("SINGBACK_DAY"))
		if err != nil {
			t.Fatal(err)
		}
		path, err := testkit.Result{Name: "hymns", Title: "Parts of hymns, sung and graded", Make: "make hymns",
			Text: text + "\nEach part of 104 hymns in four voices is sung twice by the simulated singer, whole, at 120 quarter notes a minute: once\nas written (its pitches scatter by 6 cents), once with one note, of half a quarter or longer, two or three semitones off.\n\nWhat was not as it should be, by number of the note:\n\n    " + strings.Join(odd, "\n    ") + "\n",
		}.Keep(folder, day, testkit.Commit())
		if err != nil {
			t.Fatal(err)
		}
		t.Log(path)
	}
}
