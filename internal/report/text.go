package report

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/theory"
)

// Style writes for people.
type Style struct {
	Names   theory.Naming
	ASCII   bool // # and b instead of ♯ and ♭, for terminals without UTF-8
	Numbers bool // chords as numbers of a chart and not as Roman numerals

	exact bool // chords as the rules of harmony spell them, readable or not
}

// Degree names a degree in the chosen naming.
func (s Style) Degree(k theory.Key, d theory.Degree) string {
	if s.ASCII {
		return s.Names.NameASCII(k, d)
	}
	return s.Names.Name(k, d)
}

// Key names a key.
func (s Style) Key(k theory.Key) string {
	if s.ASCII {
		return k.ASCII()
	}
	return k.String()
}

// Pitch names a pitch.
func (s Style) Pitch(p theory.Pitch) string {
	if s.ASCII {
		return p.ASCII()
	}
	return p.String()
}

// Asked says what an item asks for: "la", or from another degree "la above" or
// "sol below" where that is wanted.
func (s Style) Asked(it exercise.Item) string {
	asked := s.Degree(it.Key, it.Asked)
	if it.From == nil {
		return asked
	}
	switch it.Move {
	case exercise.Up:
		return asked + " above"
	case exercise.Down:
		return asked + " below"
	}
	return asked
}

// Headline says the verdict in one short line: degree first, tuning second. Cents
// stand beside the degree asked only: a note is measured against what was wanted.
func (s Style) Headline(it exercise.Item, v exercise.Verdict) string {
	if v.BySteps {
		v.BySteps = false
		return s.Headline(it, v) + ", found by steps"
	}
	asked := s.Degree(it.Key, it.Asked)
	switch v.Outcome {
	case exercise.InTune:
		return fmt.Sprintf("%s, right (%s)", asked, cents(v.Cents))
	case exercise.Flat:
		return fmt.Sprintf("%s, but too low (%s)", asked, cents(v.Cents))
	case exercise.Sharp:
		return fmt.Sprintf("%s, but too high (%s)", asked, cents(v.Cents))
	case exercise.OtherDegree:
		if v.Sung == it.Asked {
			return fmt.Sprintf("%s, but %s (%s)", asked, octave(v.OctaveShift), cents(v.Cents))
		}
		return fmt.Sprintf("%s instead of %s", s.Degree(it.Key, v.Sung), asked)
	case exercise.Ambiguous:
		return fmt.Sprintf("between two degrees, %s of %s: not decided", cents(v.FromAsked), asked)
	case exercise.Unsteady:
		if v.HasSung {
			return fmt.Sprintf("%s, but not held steady (%s)", asked, cents(v.Cents))
		}
		return "the pitch moved too much to name a degree"
	default:
		return "not measured: " + Why(v)
	}
}

// Within says by how many cents an answer may be off, and what held for the one
// before, where that was another; 0: there was none.
func Within(tolerance, before theory.Cents) string {
	if before != 0 && before != tolerance {
		return fmt.Sprintf("within %g cents now, %g before", tolerance, before)
	}
	return fmt.Sprintf("within %g cents", tolerance)
}

// OutBy says by which tolerance an answer on the degree asked was too low or too
// high; "" of other answers.
func OutBy(v exercise.Verdict, tol exercise.Tolerance) string {
	if v.Outcome != exercise.Flat && v.Outcome != exercise.Sharp || tol.Cents == 0 {
		return ""
	}
	return fmt.Sprintf("right is within %g cents", tol.Cents)
}

// Dictation says what a dictation asks for; by how it is answered: "sing", "play", or
// else it is named.
func (s Style) Dictation(d compose.Dictation, by string) string {
	chords := "a chord"
	if n := len(d.Chords); n > 1 {
		chords = fmt.Sprintf("%d chords", n)
	}
	if by == "play" && d.Of == exercise.QualitySkill {
		return "hear " + chords + ", then play what you heard"
	}
	if d.Of == exercise.QualitySkill {
		return "hear " + chords + ": of what quality?"
	}
	if by != "" {
		return "hear " + chords + ", then " + by + " the bass"
	}
	return "hear " + chords + ": which degree is in the bass?"
}

// DictationStep says what a step of a progression asks for; 0 is a dictation that has no
// steps.
func (s Style) DictationStep(d compose.Dictation, by string, step int) string {
	n := len(d.Chords)
	switch {
	case step < 2:
		return s.Dictation(d, by)
	case by == "play":
		return fmt.Sprintf("now play the %s, each held for a moment", Many(n, "chord"))
	case step == 2:
		return fmt.Sprintf("now the qualities of the %s", Many(n, "chord"))
	}
	return fmt.Sprintf("now the %s: which are they?", Many(n, "chord"))
}

// Skill names a bass degree or the quality of a chord; "-" is none.
func (s Style) Skill(k theory.Key, skill exercise.Skill) string {
	if skill == (exercise.Skill{}) {
		return "-"
	}
	switch skill.Kind {
	case exercise.QualitySkill:
		return skill.Chord
	case exercise.InversionSkill:
		return inversionOf(skill.Level)
	}
	return s.Degree(k, skill.Degree)
}

// heard names a skill of hearing, or of the hand, beside others: "bass fa", "m7b5",
// "hand la".
func (s Style) heard(k theory.Key, skill exercise.Skill) string {
	switch skill.Kind {
	case exercise.BassSkill, exercise.RootSkill, exercise.HandSkill:
		return skill.Kind.String() + " " + s.Skill(k, skill)
	}
	return s.Skill(k, skill)
}

// Named writes the names of bass degrees or of chord qualities: "fa sol do",
// "maj m7b5".
func (s Style) Named(k theory.Key, names []exercise.Skill) string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = s.Skill(k, n)
	}
	return strings.Join(out, " ")
}

// NamedHeadline says in one line how what was heard was named.
func (s Style) NamedHeadline(d compose.Dictation, names []exercise.Skill, right []bool) string {
	was := s.Named(d.Key, d.Skills())
	n := 0
	for _, r := range right {
		if r {
			n++
		}
	}
	switch {
	case n == len(right):
		return was + ", right"
	case len(names) == 0:
		return was + ": not named"
	case len(right) == 1:
		return was + ", not " + s.Named(d.Key, names)
	}
	return fmt.Sprintf("%s, not %s: %d of %d right", was, s.Named(d.Key, names), n, len(right))
}

// Unheard is said where not even noise was heard, as no open microphone does.
const Unheard = "no sound at all, not even noise: is the microphone muted or unplugged?"

// Masked is said where the microphone heard too much of what sounds while somebody sings.
const Masked = "the microphone hears too much of what sounds; use headphones, or turn it down"

// Why says in words why nothing was measured, and what would help.
func Why(v exercise.Verdict) string {
	if v.Silent() {
		return Unheard
	}
	switch v.Reason {
	case exercise.TooShort:
		return "too short; hold the note for a second or more"
	case exercise.TooQuiet:
		return "too quiet; come nearer to the microphone or turn its level up"
	case exercise.TooNoisy:
		return "sound, but no clear sung pitch; try a quieter place"
	case exercise.LostSamples:
		return "the sound device lost samples; that was not you"
	case exercise.OwnSound:
		return "that was a struck note dying away, not a voice"
	case exercise.NotHeld:
		return "a voice, but no note held; speech is no answer: stay on one pitch"
	case exercise.SeveralTones:
		return "several tones at once, not one voice; silence what else sounds"
	case exercise.TooLoud:
		return Masked
	}
	return ""
}

// Folded says how a question that is folded was moved to suit the voice.
func Folded(it exercise.Item) string {
	if target, _ := it.Target(); it.Register.Outside(target) {
		return "outside your range: any octave will do"
	}
	return "an octave moved to suit the voice"
}

// Fit says how a key that was chosen for the voice lies in it, and among how
// many it was drawn.
func (s Style) Fit(f exercise.Fit, degrees int, among []theory.Key) string {
	where := "in the middle of the voice"
	switch {
	case f.Shift > 0:
		where = Many(f.Shift, "semitone") + " above its middle"
	case f.Shift < 0:
		where = Many(-f.Shift, "semitone") + " below its middle"
	}
	if len(among) == 1 {
		return fmt.Sprintf("%s fits best: %d of %d degrees in range, %s.", s.Key(f.Key), degrees-f.Folded, degrees, where)
	}
	return fmt.Sprintf("%s, of the %d keys that fit best: %d of %d degrees in range, %s.", s.Key(f.Key), len(among), degrees-f.Folded, degrees, where)
}

// Rest says, in lines of at most 74 cells, that somebody has sung for so many
// seconds and should rest.
func Rest(sung float64) []string {
	return []string{
		"You have sung for " + Many(max(1, math.Floor(sung/60)), "minute") + ": rest your voice for a while, and drink.",
		"Stop for today on pain, tightness or hoarseness. Hoarse for more than",
		"three weeks: see a doctor. This is no medical advice.",
	}
}

// TuningNote says where the tolerance is finer than systems of tuning differ
// about the degrees asked; "" where it is not.
func (s Style) TuningNote(items []exercise.Item, tol exercise.Tolerance) string {
	var systems []string
	differ := map[string][]string{}
	asked := map[theory.Degree]bool{}
	for _, it := range items {
		if asked[it.Asked] {
			continue
		}
		asked[it.Asked] = true
		for _, c := range exercise.Clashes(it, tol) {
			name, where := c.Tuning.String(), "lower"
			if c.Cents > 0 {
				where = "higher"
			}
			if differ[name] == nil {
				systems = append(systems, name)
			}
			differ[name] = append(differ[name], fmt.Sprintf("%s %.1f cents %s", s.Degree(it.Key, it.Asked), math.Abs(c.Cents), where))
		}
	}
	if len(systems) == 0 {
		return ""
	}
	for i, name := range systems {
		systems[i] = name + " has " + strings.Join(differ[name], ", ")
	}
	return fmt.Sprintf("a tolerance of %g cents is finer than tunings differ: judged in %s tuning, while %s",
		tol.Cents, items[0].Tuning, strings.Join(systems, "; "))
}

// Details says what else was measured, one short line each; nil where nothing
// was.
func (s Style) Details(v exercise.Verdict) []string {
	if v.Outcome == exercise.NotMeasured {
		return nil
	}
	var lines []string
	if v.HasSung {
		lines = append(lines, octave(v.OctaveShift))
	}
	steady := "steady within " + amount(math.Max(1, v.Spread))
	if v.Spread >= 15 {
		steady = "wavering by " + amount(v.Spread)
	}
	if v.VibratoCents > 0 {
		steady += fmt.Sprintf(", vibrato %.1f Hz, %.0f cents each way", v.VibratoHz, v.VibratoCents)
	}
	lines = append(lines, steady,
		fmt.Sprintf("settled after %.2f s, held %.2f s", v.Settle, v.Held))
	if v.Scoop <= -50 {
		lines = append(lines, fmt.Sprintf("begun %.0f cents below", -v.Scoop))
	} else if v.Scoop >= 50 {
		lines = append(lines, fmt.Sprintf("begun %.0f cents above", v.Scoop))
	}
	return lines
}

// octave says in which octave an answer was.
func octave(shift int) string {
	switch {
	case shift == 0:
		return "in the octave asked"
	case shift == -1:
		return "an octave below"
	case shift == 1:
		return "an octave above"
	case shift < 0:
		return fmt.Sprintf("%d octaves below", -shift)
	default:
		return fmt.Sprintf("%d octaves above", shift)
	}
}

// cents says a distance: "exact", "4 cents sharp", "12 cents flat".
func cents(c theory.Cents) string {
	switch n := math.Abs(c); {
	case math.Round(n) == 0:
		return "exact"
	case c > 0:
		return amount(n) + " sharp"
	default:
		return amount(n) + " flat"
	}
}

// amount says a number of cents: "1 cent", "12 cents".
func amount(c theory.Cents) string {
	n := math.Round(c)
	if n == 1 {
		return "1 cent"
	}
	return fmt.Sprintf("%.0f cents", n)
}

// Summary writes the table of a session in one key.
func (s Style) Summary(k theory.Key, t exercise.Tally) string {
	return s.summary(s.Key(k), k, t)
}

// SummaryOf writes the table of a session in several keys, at least one. Degrees
// have the names of the first: with more than one key the naming should be one
// that names degrees and not notes.
func (s Style) SummaryOf(keys []theory.Key, t exercise.Tally) string {
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = s.Key(k)
	}
	where := names[0]
	switch n := len(names); {
	case n > 3:
		where = fmt.Sprintf("%d keys", n)
	case n > 1:
		where = strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return s.summary(where, keys[0], t)
}

func (s Style) summary(where string, k theory.Key, t exercise.Tally) string {
	var b strings.Builder
	others := func() string {
		if named := t.ByName(); len(named) > 0 {
			w := newColumns(&b)
			head := "heard"
			if t.Bass.Of+t.Quality.Of == 0 {
				head = "played"
			}
			fmt.Fprintln(w, head+"\tright\ttaken for")
			for _, c := range named {
				fmt.Fprintf(w, "%s\t%d of %d\t%s\n", s.heard(k, c.Skill), c.Right, c.Of, s.Named(k, c.TakenFor))
			}
			w.Flush()
			b.WriteString("\n")
		}
		for _, o := range []struct {
			what string
			exercise.Marks
		}{{"bass degrees named right", t.Bass}, {"chord qualities named right", t.Quality}, {"melodies passed", t.Lines}, {"degrees struck right", t.Hand}} {
			if o.Of > 0 {
				fmt.Fprintf(&b, "%d of %d %s.\n", o.Right, o.Of, o.what)
			}
		}
		return b.String()
	}
	if t.All.Asked == 0 {
		if t.Bass.Of+t.Quality.Of+t.Lines.Of+t.Hand.Of == 0 {
			return "Nothing was answered.\n"
		}
		return trimLines(others())
	}
	fmt.Fprintf(&b, "%d of %d right in %s", t.All.Right, t.All.Answered(), where)
	switch n := t.All.NotMeasured + t.All.Ambiguous + t.All.NoDegree; n {
	case 0:
	case 1:
		b.WriteString("; 1 that could not be decided counts for nothing")
	default:
		fmt.Fprintf(&b, "; %d that could not be decided count for nothing", n)
	}
	b.WriteString(".\n\n")
	w := newColumns(&b)
	fmt.Fprintln(w, "degree\tright\tlow\thigh\tother\tunsteady\ttendency")
	for _, c := range t.ByDegree() {
		row(w, s.Degree(k, c.Degree), c.Count)
	}
	if pairs := t.ByPair(); len(pairs) > 0 {
		fmt.Fprintln(w, "\t\t\t\t\t\t")
		fmt.Fprintln(w, "from - to\tright\tlow\thigh\tother\tunsteady\ttendency")
		for _, c := range pairs {
			row(w, s.Degree(k, c.From)+" - "+s.Degree(k, c.To), c.Count)
		}
	}
	w.Flush()
	if t.Bass.Of+t.Quality.Of+t.Lines.Of+t.Hand.Of > 0 {
		b.WriteString("\n")
	}
	return trimLines(others())
}

func row(w *columns, name string, c exercise.Count) {
	fmt.Fprintf(w, "%s\t%d of %d\t%d\t%d\t%d\t%d\t%s\n", name, c.Right, c.Answered(), c.Flat, c.Sharp, c.Other, c.Unsteady, tendency(c))
}

// tendency says where the answers on the asked degree lie, as a median.
func tendency(c exercise.Count) string {
	m, n := c.Median()
	switch n {
	case 0:
		return "-"
	case 1:
		return cents(m) + " (once)"
	default:
		return fmt.Sprintf("%s (median of %d)", cents(m), n)
	}
}

// trimLines removes the blanks that the table left at line ends.
func trimLines(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}
