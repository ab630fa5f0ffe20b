package cli

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/audio"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// inputTyped is the word of --input for a person who types.
const inputTyped = "typed"

// dictationOptions are the flags of dictation.
type dictationOptions struct {
	sing      singOptions // where it sounds; key, names, tuning; the record
	of        string
	degrees   string
	qualities string
	length    int
	count     int
	keyEvery  int
	input     string
}

func newDictation(e *env) *cobra.Command {
	o := &dictationOptions{}
	o.sing.format, o.sing.window = newFormat("text", "json"), exercise.DefaultWindow()
	o.sing.retry = "never"
	cmd := &cobra.Command{
		Use:   "dictation",
		Short: "Hear chords and name what is in the bass, or of what quality they are",
		Long: `Dictation sets a key, plays some chords in it, and asks for the degree in the bass
of each, or with --of quality for the quality of each. Type the names, in the
naming of --names or as numbers, and Enter: "do fa sol" or "1 4 5"; "maj m7".
An empty line plays it once more, ? gives up. Then it says what it was and plays
it again. How many chords there are says --length.

The bass lines are made of chords that stand on those degrees in songs, and
follow each other as there. Degrees that sound the same are the same: fi is se.
The qualities are maj, min, dim, aug, 7, maj7, m7, m7b5, dim7, sus4, sus2, 6 and
mMaj7, each where it is at home in the key, with its root in the bass.

Names that are typed go into the practice record where there is one, or with
--record; singback today asks for them as the course says. Without a terminal the
names are read from standard input, a line for each question; --input simulated
shows how it goes. With --format json standard output has one object a line: the
events key, dictation, named and summary.

Playback starts quiet: set your headphones, then raise --level if you must.`,
		Example: `  singback dictation --key Eb --length 3 --count 2 --input simulated
  singback dictation --of quality --qualities "maj min 7 m7" --count 4 --input simulated
  echo "do" | singback dictation --key G --degrees do --count 1 --output none`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd, e) },
	}
	s := &o.sing
	s.music.addKeyFlag(cmd, true, "C major", `key, like "Ab major", f#m, or random`)
	s.music.addFlags(cmd)
	must(cmd.Flags().MarkHidden("octave"))
	must(cmd.Flags().MarkHidden("voice"))
	s.record.addFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.of, "of", "bass", "what is to be named: bass or quality")
	f.StringVar(&o.degrees, "degrees", "do sol fa", "the `DEGREES` that the bass may have")
	f.StringVar(&o.qualities, "qualities", "maj min", "the `QUALITIES` that chords may have")
	f.IntVar(&o.length, "length", 1, fmt.Sprintf("how many chords are heard in one question, 1 to %d", compose.MaxDictation))
	f.IntVar(&o.count, "count", 10, "how many questions")
	f.IntVar(&o.keyEvery, "set-every", 5, "set the key again after so many questions; 0: only at the start")
	f.StringVar(&s.setting, "set", synth.ByCadence.String(), "how the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.BoolVar(&s.compare, "compare", true, "play it again after each answer")
	f.Float64Var(&s.level, "level", synth.DefaultLevel, "playback never exceeds this peak, in `DBFS`, -60 to -3")
	f.Uint64Var(&s.seed, "seed", 0, "number that draws the questions; the same number, the same questions")
	f.StringVar(&o.input, "input", inputTyped, "who answers: typed, or simulated")
	addForce(cmd, &s.force)
	f.StringVar(&s.output, "output", "", "where the sound goes: speaker, none or `FILE.wav`")
	f.StringVar(&s.outputDevice, "output-device", "", "loudspeaker: part of its `NAME`")
	f.Var(s.format, "format", "output: text or json")
	must(cmd.RegisterFlagCompletionFunc("of", fixed("bass", "quality")))
	must(cmd.RegisterFlagCompletionFunc("degrees", s.music.completeDegrees("all", "chromatic")))
	must(cmd.RegisterFlagCompletionFunc("qualities", fixed(compose.Qualities()...)))
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("input", fixed(inputTyped, inputSimulated)))
	must(cmd.RegisterFlagCompletionFunc("output", orFile(outputSpeaker, outputNone)))
	must(cmd.RegisterFlagCompletionFunc("format", s.format.complete))
	return cmd
}

func (o *dictationOptions) run(cmd *cobra.Command, e *env) error {
	s := &o.sing
	if err := s.record.who(cmd, e, &s.music.singer); err != nil {
		return err
	}
	p := plan{seed: s.seed}
	if !cmd.Flags().Changed("seed") {
		p.seed = e.seed()
	}
	var err error
	if p.item, p.naming, err = s.music.base(func() uint64 { return p.seed }); err != nil {
		return err
	}
	key := p.item.Key
	skills, err := o.skills(key, p.naming)
	if err != nil {
		return err
	}
	switch {
	case key.Mode > theory.Minor:
		return usagef("--key %s: its chords are not known; want a major or minor key", key.ASCII())
	case o.length < 1 || o.length > compose.MaxDictation:
		return usagef("--length: %d is out of range: want 1 to %d", o.length, compose.MaxDictation)
	case o.count < 1 || o.count > exercise.MaxCount:
		return usagef("--count: %d is out of range: want 1 to %d", o.count, exercise.MaxCount)
	case o.keyEvery < 0:
		return usagef("--set-every: %d is out of range: want 0 or more", o.keyEvery)
	case o.input != inputTyped && o.input != inputSimulated:
		return usagef("--input: %q: want typed or simulated", short(o.input))
	case o.input == inputTyped && s.output == outputNone && e.terminal(e.stdin):
		return usagef("--output none: chords that nobody hears cannot be named; want speaker or a FILE.wav, or --input simulated to see how it goes")
	}
	if err := s.manner(&p.config); err != nil {
		return err
	}
	p.item.Asked = theory.Degree{Step: 1}
	questions, err := o.questions(p, skills)
	if err != nil {
		return usage(err)
	}
	asked := 0
	p.config.Count = len(questions)
	p.config.Next = func(float64) (session.Question, bool) {
		if asked == len(questions) {
			return session.Question{}, false
		}
		asked++
		return session.Question{
			Item: p.item, Dictation: &questions[asked-1], Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance},
			SetKey: asked == 1 || o.keyEvery > 0 && (asked-1)%o.keyEvery == 0,
		}, true
	}
	style := report.Style{Names: p.naming, ASCII: e.ascii()}
	d := &performance{
		command: "dictation", plan: p, kind: o.input, style: style, start: e.clock(),
		summary: func(t exercise.Tally) string { return style.Summary(key, t) },
		ready: func(r *rig, c *session.Config) {
			n := newNamer(r, p.seed)
			n.known = skills
			c.Name = n.name
			c.KeepNamed = func(named session.Named) { r.keeper.keepNamed(named, r.emit) }
		},
	}
	return s.perform(cmd, e, d)
}

// skills reads what is to be named.
func (o *dictationOptions) skills(k theory.Key, n theory.Naming) ([]exercise.Skill, error) {
	var out []exercise.Skill
	switch o.of {
	case "bass":
		degrees, err := theory.ParseDegrees(o.degrees, k, n)
		if err != nil {
			return nil, usage(fmt.Errorf("--degrees: %w", err))
		}
		for _, d := range degrees {
			out = append(out, exercise.Skill{Kind: exercise.BassSkill, Degree: d})
		}
	case "quality":
		for _, word := range strings.FieldsFunc(o.qualities, func(r rune) bool { return r == ' ' || r == ',' }) {
			q, err := compose.ParseQuality(word)
			if err != nil {
				return nil, usage(fmt.Errorf("--qualities: %w", err))
			}
			out = append(out, exercise.Skill{Kind: exercise.QualitySkill, Chord: q})
		}
		if len(out) == 0 {
			return nil, usage(errors.New("--qualities: it is empty; want some of " + strings.Join(compose.Qualities(), ", ")))
		}
	default:
		return nil, usagef("--of: %q: want bass or quality", short(o.of))
	}
	return out, nil
}

// questions draws the questions: each skill in turn, in shuffled rounds, among the
// others.
func (o *dictationOptions) questions(p plan, skills []exercise.Skill) ([]compose.Dictation, error) {
	rng := rand.New(rand.NewPCG(p.seed, 0x6463746e))
	var out []compose.Dictation
	var round []int
	for len(out) < o.count {
		if len(round) == 0 {
			round = rng.Perm(len(skills))
		}
		d, err := compose.NewDictation(compose.DictationOrder{
			Skill: skills[round[0]], Known: skills, Key: p.item.Key, Length: o.length, Seed: rng.Uint64(),
		})
		if err != nil {
			return nil, err
		}
		out, round = append(out, d), round[1:]
	}
	return out, nil
}

// typedAnswers is somebody who types and does not sing.
type typedAnswers struct{}

func (typedAnswers) Source(session.Prompted) (audio.Source, bool, error) {
	return nil, false, session.ErrNoMore
}
