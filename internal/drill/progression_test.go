package drill

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/kept"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// The ways in which a progression is told in the tests.
const (
	tellRight     = iota
	tellBass      // one wrong bass
	tellQuality   // one wrong quality
	tellInversion // one chord in another inversion
	tellRoot      // one chord on another degree
	tellKind      // one chord of another quality, in the last step
	tellAgain     // heard again before each step
	tellNothing   // given up, in one step
	tellWays
)

var tellNames = [...]string{"right", "bass", "quality", "inversion", "root", "kind", "again", "nothing"}

// teller tells progressions as a test has them.
type teller struct {
	Nobody
	naming theory.Naming
	asked  *session.DictationAsked // the last
	heard  map[[2]int]bool         // played again, by question and step
	marks  map[int][]compose.Mark  // as they were made, by question
	way    func(index int) int
	spell  func(r theory.Roman) string
	rng    *rand.Rand
}

func (p *teller) note(e session.Event) {
	if a, ok := e.(session.DictationAsked); ok {
		p.asked = &a
	}
}

// Type tells the step that is asked.
func (p *teller) Type(_ context.Context, w Wanted, check func(string) error) (string, error) {
	a := p.asked
	n, way, at := len(a.Dictation.Chords), p.way(a.Index), a.Index%len(a.Dictation.Chords)
	if w.Count != n || check(strings.Repeat("xyzzy ", n)) == nil || check("do do do do do do do do do do") == nil {
		return "", fmt.Errorf("%+v takes anything", w)
	}
	if place := [2]int{a.Index, a.Step}; way == tellAgain && !p.heard[place] {
		p.heard[place] = true
		return " ", check(" ")
	}
	marks := p.marks[a.Index]
	if marks == nil {
		marks = slices.Repeat([]compose.Mark{{Bass: true, Quality: true, Root: true, Inversion: true, Chord: true}}, n)
		p.marks[a.Index] = marks
	}
	if way == tellNothing && a.Step == 1+a.Index%3 {
		for i := range marks {
			switch m := &marks[i]; a.Step {
			case 1:
				m.Bass = false
			case 2:
				m.Quality = false
			default:
				m.Root, m.Inversion, m.Chord = false, false, false
			}
		}
		return "?", check("?")
	}
	words := make([]string, n)
	for i, c := range a.Dictation.Chords {
		switch a.Step {
		case 1:
			d := a.Dictation.Key.Degree(c.Chord.Bass)
			if way == tellBass && i == at {
				marks[i].Bass = false
				for scale := a.Dictation.Key.ScaleDegrees(); d.Semitones() == a.Dictation.Key.Degree(c.Chord.Bass).Semitones(); {
					d = scale[p.rng.IntN(7)]
				}
			}
			words[i] = p.naming.NameASCII(a.Dictation.Key, d)
		case 2:
			name := compose.QualityOf(c.Chord.Quality)
			if words[i] = name; way == tellQuality && i == at {
				marks[i].Quality = false
				for words[i] == name {
					words[i] = compose.Qualities()[p.rng.IntN(len(compose.Qualities()))]
				}
			}
		default:
			words[i] = p.spell(a.Dictation.Key.Roman(p.chord(c, way, i == at, &marks[i])))
		}
	}
	text := strings.Join(words, " ")
	if err := check(text); err != nil {
		return "", fmt.Errorf("%q: %w", text, err)
	}
	return text, nil
}

// chord is the chord that is told for one that sounded, and notes its marks.
func (p *teller) chord(c theory.Roman, way int, here bool, m *compose.Mark) theory.Chord {
	tones := c.Chord.Notes()
	even := c.Chord.Quality == theory.Diminished7 || c.Chord.Quality == theory.AugmentedTriad
	if !here || len(tones) < 3 {
		return c.Chord
	}
	switch way {
	case tellInversion:
		if even {
			return c.Chord // the same chord on another root
		}
		for _, n := range []theory.Note{c.Chord.Root, c.Chord.Note(theory.Degree{Step: 5}), c.Chord.Note(theory.Degree{Step: 3})} {
			if _, own := c.Chord.Tone(n); own && n != c.Chord.Bass {
				m.Inversion, m.Chord = false, false
				return c.Chord.Over(n)
			}
		}
	case tellRoot:
		if even {
			return c.Chord
		}
		up := theory.Interval{Steps: 1, Semitones: 2}
		m.Root, m.Chord = false, false
		return c.Chord.Up(up)
	case tellKind:
		other := theory.MinorTriad
		if c.Chord.Quality.Triad() == theory.MinorHeard || c.Chord.Quality.Triad() == theory.DiminishedHeard {
			other = theory.Dominant7
		}
		m.Chord = false
		out := theory.Chord{Root: c.Chord.Root, Quality: other, Bass: c.Chord.Root}
		if n := c.Chord.Inversion(); n > 0 && n < len(other.Tones()) {
			return out.Over(out.Note(other.Tones()[n]))
		} else if n > 0 {
			m.Inversion = false
		}
		return out
	}
	return c.Chord
}

// spellings are how a chord may be written in the last step.
var spellings = []func(theory.Roman) string{
	theory.Roman.String, theory.Roman.ASCII, theory.Roman.Number, theory.Roman.NumberASCII,
	func(r theory.Roman) string { return r.Chord.String() }, func(r theory.Roman) string { return r.Chord.ASCII() },
}

// Progressions that are told are marked as they were made, each way, in each naming,
// with numerals, numbers and symbols, in each style.
func TestProgressionsTold(t *testing.T) {
	answers := 500
	if raceDetector {
		answers = 60
	}
	keys := []string{"C", "Eb", "f#m", "A", "gm", "Bb", "dm", "Db"}
	asked, wrong := [tellWays]int{}, [tellWays]int{}
	for run, done := 0, 0; done < answers; run++ {
		o := &Dictation{
			Music: music(keys[run%len(keys)]), Manner: manner(), Of: OfProgression, Style: theory.Styles()[run%len(theory.Styles())].String(),
			Length: 1 + run%6, Count: min(10, answers-done), Seed: uint64(run + 1),
		}
		o.Manner.Compare = false
		o.Music.Said = func(option string) bool { return option == "length" }
		o.Music.Names = theory.Namings()[run%len(theory.Namings())].String()
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		var record memory
		r, events := heardRun(p, &record)
		r.Answers, r.Out = Typing{}, audio.Null{Rate: 4000} // how it sounds is tested elsewhere
		who := &teller{
			naming: p.Naming, heard: map[[2]int]bool{}, marks: map[int][]compose.Mark{}, rng: rand.New(rand.NewPCG(uint64(run), 3)),
			way: func(index int) int { return (run + index) % int(tellWays) }, spell: spellings[run%len(spellings)],
		}
		show := r.Show
		r.Show = func(e session.Event) { who.note(e); show(e) }
		r.Person = who
		if _, err := r.Do(t.Context()); err != nil {
			t.Fatalf("run %d, %s: %v", run, o.Music.Names, err)
		}
		chords, again := 0, 0
		for _, e := range *events {
			if n, ok := e.(session.Named); ok && n.Again {
				again++
			}
			told, ok := e.(session.Reasoned)
			if !ok {
				continue
			}
			way := who.way(told.Index)
			asked[way]++
			chords += len(told.Marks)
			if !slices.Equal(told.Marks, who.marks[told.Index]) {
				wrong[way]++
				t.Errorf("run %d, %s, %s of %s told as %s: %+v, made %+v", run, tellNames[way], o.Style, told.Dictation.Material(),
					(report.Style{ASCII: true}).Romans(told.Named), told.Marks, who.marks[told.Index])
			}
			if lines := r.Explanation(told); len(lines) < len(told.Marks)+2 {
				t.Errorf("%q explains little", lines)
			}
		}
		if want := 3 * countIf(o.Count, func(i int) bool { return who.way(i+1) == tellAgain }); again != want {
			t.Errorf("run %d: %d steps heard again, want %d", run, again, want)
		}
		checkKept(t, record.answers, chords)
		done += o.Count
	}
	for way, n := range asked {
		t.Logf("%-10s %d of %d as they were made", tellNames[way], n-wrong[way], n)
	}
}

func countIf(n int, is func(int) bool) (k int) {
	for i := range n {
		if is(i) {
			k++
		}
	}
	return k
}

// checkKept checks that each chord leaves four answers that can be kept.
func checkKept(t *testing.T, answers []practice.Answer, chords int) {
	t.Helper()
	kinds := map[exercise.Kind]int{}
	for _, a := range answers {
		kinds[a.Skill.Kind]++
		a.Session = kept.NewSession([16]byte{1}, "Anna", "dictation", "typed", 1, "test", began)
		if err := kept.Check(a); err != nil {
			t.Errorf("%+v cannot be kept: %v", a, err)
		}
	}
	for _, k := range []exercise.Kind{exercise.BassSkill, exercise.QualitySkill, exercise.RootSkill, exercise.InversionSkill} {
		if kinds[k] != chords {
			t.Errorf("%d answers of %v, want %d", kinds[k], k, chords)
		}
	}
}

// What is played answers the steps that it is asked for: the bass, and the chords once
// for qualities and chords. A chord in another inversion is one.
func TestProgressionsPlayed(t *testing.T) {
	for _, answer := range []string{ByPlaying, "name,play,play", "name,name,play", "name,play,name", "sing,play,play"} {
		o := &Dictation{Music: music("Ab"), Manner: manner(), Of: OfProgression, Style: "hymn", Answer: answer, Count: 6, Seed: 9}
		o.Manner.Compare = false
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		var record memory
		r, events := heardRun(p, &record)
		calls := 0
		turned := map[int]int{}
		play := func(d session.Dictation) (out []exercise.Strike, err error) {
			calls++
			for i, v := range d.Dictation.Voices {
				strike := exercise.Strike{At: 1 + float64(i), Length: 0.7}
				for _, pitch := range v {
					strike.Keys = append(strike.Keys, pitch.MIDI())
				}
				if slices.Sort(strike.Keys); d.Dictation.Of == exercise.BassSkill {
					strike.Keys = strike.Keys[:1]
				} else if i == 1 { // its bass goes up out of the way
					for strike.Keys[0] <= strike.Keys[len(strike.Keys)-1] {
						strike.Keys[0] += 12
					}
					slices.Sort(strike.Keys)
					if (strike.Keys[0]-d.Dictation.Voices[i][0].MIDI())%12 != 0 {
						turned[calls]++
					}
				}
				out = append(out, strike)
			}
			return out, nil
		}
		who := &teller{heard: map[[2]int]bool{}, marks: map[int][]compose.Mark{}, way: func(int) int { return tellRight }, spell: theory.Roman.ASCII}
		show := r.Show
		r.Show = func(e session.Event) { who.note(e); show(e) }
		r.Person = who
		simulated := r.Answers
		hands := players{play: play}
		r.Answers = hands
		if o.Sings() {
			r.Answers = Hands{Answers: simulated, Keyboard: Keyboard{Play: func(context.Context, int, bool) ([]exercise.Strike, error) {
				return hands.play(session.Dictation{Dictation: who.asked.Dictation})
			}}}
		}
		if _, err := r.Do(t.Context()); err != nil {
			t.Fatalf("%s: %v", answer, err)
		}
		want := 6 * map[string]int{ByPlaying: 2, "name,play,play": 1, "name,name,play": 1, "name,play,name": 1, "sing,play,play": 1}[answer]
		if calls != want {
			t.Errorf("%s: played %d times, want %d", answer, calls, want)
		}
		off := 0
		for _, e := range *events {
			switch e := e.(type) {
			case session.Named:
				ways, _ := o.ways()
				if by := r.EventRecord(e).(namedEvent).By; by != ways[e.Step-1] {
					t.Errorf("%s: step %d by %s", answer, e.Step, by)
				}
			case session.Reasoned:
				for _, m := range e.Marks {
					if !m.Quality || !m.Root || !m.Bass && !o.Sings() {
						t.Errorf("%s: %s: %+v", answer, e.Dictation.Material(), e.Marks)
					}
					if !m.Inversion {
						off++
					}
				}
			}
		}
		if played := strings.HasSuffix(answer, ByPlaying) || answer == ByPlaying; played != (off > 0) || off > len(turned) {
			t.Errorf("%s: %d inversions off, %d turned", answer, off, len(turned))
		}
	}
}

// What cannot be is refused in a line, and what is said where nothing was said.
func TestWrongProgressions(t *testing.T) {
	for answer, want := range map[string]string{
		"hum":             `--answer: "hum": want name, sing or play`,
		"sing,sing,name":  "--answer: one voice sings no chord; sing the bass, and name or play the rest: sing,name,name",
		"sing,name":       `--answer: "sing,name": want one way, or three: of bass, qualities and chords, like sing,name,play`,
		"name,name,name ": "",
	} {
		o := &Dictation{Music: music("C"), Manner: manner(), Of: OfProgression, Answer: answer, Count: 1}
		_, err := o.Plan()
		var w Wrong
		if want == "" && err != nil || want != "" && (!errors.As(err, &w) || err.Error() != want) {
			t.Errorf("%q: %v, want %s", answer, err, want)
		}
	}
	for _, o := range []*Dictation{
		{Of: "bass", Answer: "sing,name,play", Degrees: "do", Length: 1},
		{Of: OfProgression, Style: "polka"},
		{Of: "chords"},
	} {
		o.Music, o.Manner, o.Count = music("C"), manner(), 1
		var w Wrong
		if _, err := o.Plan(); !errors.As(err, &w) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	o := &Dictation{Music: music("C"), Manner: manner(), Of: OfProgression, Count: 1}
	o.Music.Known.Style = "gospel"
	if p, err := o.Plan(); err != nil || p.Note != "Progressions in the style gospel, of the profile; its numbers are judgement, nothing was counted." {
		t.Errorf("%q, %v", p.Note, err)
	}
}

// The summary of progressions has balanced accuracy by hand, and no plain one.
func TestBalanced(t *testing.T) {
	var tally exercise.Tally
	bass := func(step int) exercise.Skill {
		return exercise.Skill{Kind: exercise.BassSkill, Degree: theory.Degree{Step: step}}
	}
	add := func(heard, told, times int) {
		for range times {
			name := bass(told)
			tally.AddNamed(bass(heard), &name, heard == told)
		}
	}
	add(1, 1, 8) // do: 8 of 8
	add(4, 6, 3) // fa: 1 of 4
	add(4, 4, 1)
	add(7, 1, 2) // ti: too few to count
	// The mean of 8/8 and 1/4 is 62.5 %; plainly 9 of 14 would be 64 %.
	share, things, answers, ok := tally.Balanced(exercise.BassSkill)
	if !ok || share != 0.625 || things != 2 || answers != 14 {
		t.Errorf("%v of %d things, %d answers, %v", share, things, answers, ok)
	}
	text := (report.Style{ASCII: true}).Balanced(theory.Key{}, &tally)
	for _, want := range []string{"bass  63 %  of 2 different ones, 14 answers", "bass fa  1 of 4  la 3", "bass ti  0 of 2  do 2"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if strings.Contains(text, "64 %") || strings.Contains(text, "9 of 14") {
		t.Error(text)
	}
	parts := report.Style{}.NewBalanced(theory.Key{}, &tally)
	if fa := parts[0].Heard[1]; len(parts) != 4 || *parts[0].Share != 0.625 || parts[1].Share != nil || fa.Name != "4" || fa.Right != 1 || fa.Of != 4 || fa.TakenFor["6"] != 3 {
		t.Errorf("%+v", parts)
	}
}

// In today what is heard is answered as it is said: the bass sung or played, qualities
// played, progressions in their steps; without anybody who types only what needs none.
func TestTodayAnswersAsItIsSaid(t *testing.T) {
	do := theory.Degree{Step: 1}
	bass, quality := exercise.Skill{Kind: exercise.BassSkill, Degree: do}, exercise.Skill{Kind: exercise.QualitySkill, Chord: "maj"}
	root := exercise.Skill{Kind: exercise.RootSkill, Degree: theory.Degree{Step: 4}}
	for answer, want := range map[string][3]bool{"": {}, ByName: {}, BySinging: {true, false, false}, ByPlaying: {true, true, true}} {
		s := &sitting{options: &Today{Answer: answer}, run: &Run{Answers: Typing{}}}
		for i, skill := range []exercise.Skill{bass, quality, root} {
			if s.asks(skill) != want[i] {
				t.Errorf("%q, and nobody types: asks for %s %v", answer, skill, s.asks(skill))
			}
		}
		o := today(t)
		o.Answer = answer
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		r, _ := heardRun(p, nil)
		s = p.asker.(*sitting)
		s.run, s.namer.run = r, r
		for _, skill := range []exercise.Skill{bass, quality, root} {
			task, err := s.task(r, practice.Question{Skill: skill, Known: []exercise.Skill{skill}, Length: 3}, p.Item)
			if err != nil {
				t.Fatalf("%s: %v", skill, err)
			}
			var sings, plays bool
			switch task := task.(type) {
			case session.Dictation:
				sings, plays = task.Singer != nil, task.Player != nil
			case session.Progression:
				sings, plays = task.Steps[0].Singer != nil, task.Steps[2].Player != nil
				if !slices.ContainsFunc(task.Dictation.Step(exercise.RootSkill).Skills(), func(s exercise.Skill) bool { return s == root }) {
					t.Errorf("%s is not on %s", task.Dictation.Material(), root)
				}
			}
			if sings != (answer == BySinging && skill != quality) || plays != (answer == ByPlaying) {
				t.Errorf("%q, %s: sung %v, played %v", answer, skill, sings, plays)
			}
		}
	}
	o := today(t)
	o.Answer = "hum"
	if _, err := o.Plan(); err == nil {
		t.Error("today is hummed")
	}
}
