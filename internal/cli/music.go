package cli

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/theory"
)

// music holds the flags about key, tuning, naming and register that several
// commands share.
type music struct {
	key    string
	a4     float64
	tuning string
	scale  string
	names  string
	voice  string
	octave int

	singer
	cmd *cobra.Command
}

func (m *music) addFlags(cmd *cobra.Command) {
	m.cmd = cmd
	f := cmd.Flags()
	f.Float64Var(&m.a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&m.tuning, "tuning", theory.Equal.String(), tuningHelp)
	f.StringVar(&m.names, "names", theory.Movable.String(), namesHelp())
	f.StringVar(&m.voice, "voice", "", voiceHelp()+" (else that of the profile)")
	f.IntVar(&m.octave, "octave", 0, "the `OCTAVE` of the tonic, where 4 begins at middle C")
	m.singer.addFlag(cmd)
	must(cmd.RegisterFlagCompletionFunc("tuning", fixed(tuningWordList...)))
	must(cmd.RegisterFlagCompletionFunc("names", fixed(namingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("voice", fixed(exercise.Voices()...)))
}

// addKeyFlag adds --key; drawn tells that the key may be a random one.
func (m *music) addKeyFlag(cmd *cobra.Command, drawn bool, value, help string) {
	cmd.Flags().StringVar(&m.key, "key", value, help)
	must(cmd.RegisterFlagCompletionFunc("key", fixed(keyNames(drawn)...)))
}

// addScaleFlag adds --scale.
func (m *music) addScaleFlag(cmd *cobra.Command) {
	var names []string
	for _, s := range theory.Scales() {
		names = append(names, s.String())
	}
	cmd.Flags().StringVar(&m.scale, "scale", "", "a `SCALE` on the tonic: "+strings.Join(names, ", "))
	must(cmd.RegisterFlagCompletionFunc("scale", fixed(names...)))
}

// readKey reads the key that flag gave, or with --scale the key that names the
// scale on any tonic.
func (m *music) readKey(flag string, seed func() uint64) (theory.Key, error) {
	if m.scale != "" {
		scale, err := theory.ParseScale(m.scale)
		if err != nil {
			return theory.Key{}, usage(fmt.Errorf("--scale: %w", err))
		}
		if tonic, err := theory.ParseNote(m.key); err == nil {
			return scale.Key(tonic), nil
		}
		key, err := readKey(m.key, seed)
		if err != nil {
			return key, usage(fmt.Errorf("%s: %w", flag, err))
		}
		return scale.Key(key.Tonic), nil
	}
	key, err := readKey(m.key, seed)
	if err != nil {
		return key, usage(fmt.Errorf("%s: %w", flag, err))
	}
	return key, nil
}

// base reads the flags into an item that asks for nothing yet. A random key is
// drawn with the seed; it is refused where seed is nil.
func (m *music) base(seed func() uint64) (exercise.Item, theory.Naming, error) {
	naming, err := theory.ParseNaming(m.names)
	if err != nil {
		return exercise.Item{}, 0, usage(fmt.Errorf("--names: %w", err))
	}
	tuning, err := m.readTuning()
	if err != nil {
		return exercise.Item{}, 0, err
	}
	key, err := m.readKey("--key", seed)
	if err != nil {
		return exercise.Item{}, 0, err
	}
	register, err := m.register(key)
	if err != nil {
		return exercise.Item{}, 0, err
	}
	return exercise.Item{Key: key, Tuning: tuning, Register: register}, naming, nil
}

// readTuning reads --a4 and --tuning; without --a4 it takes the tuning of the
// singer's instrument.
func (m *music) readTuning() (theory.Tuning, error) {
	a4 := m.instrument(m.cmd, m.a4)
	if t, err := theory.NewTuning(a4); err != nil {
		return t, usage(fmt.Errorf("--a4: %w", err))
	}
	t, err := theory.ParseTuning(m.tuning, a4)
	if err != nil {
		return t, usage(fmt.Errorf("--tuning: %w", err))
	}
	return t, nil
}

// tuningWords says the tuning, and its system unless it is the equal one.
func tuningWords(t theory.Tuning) string {
	s := fmt.Sprintf("A4 = %g Hz", t.A4)
	if t.System != theory.Equal {
		s += ", " + t.String() + " tuning"
	}
	return s
}

// reach is where the notes are to lie: the working range and the tessitura of
// the voice asked for, or else of the singer; ok is false where neither is
// known.
func (m *music) reach() (working, tessitura theory.Range, ok bool, err error) {
	if m.voice != "" {
		v, err := exercise.VoiceNamed(m.voice)
		if err != nil {
			return working, tessitura, false, usage(fmt.Errorf("--voice: %w", err))
		}
		return exercise.Working(v.Range), exercise.Working(v.Range), true, nil
	}
	v := m.known.Voice
	if v == nil {
		return working, tessitura, false, nil
	}
	working = exercise.Working(v.Comfortable)
	if tessitura = v.Tessitura; tessitura == (theory.Range{}) {
		tessitura = working
	}
	return working, tessitura, true, nil
}

// register places the key for the voice or octave asked for, or for the singer.
func (m *music) register(key theory.Key) (exercise.Register, error) {
	r := exercise.MiddleRegister(key)
	working, _, known, err := m.reach()
	if err != nil {
		return r, err
	}
	if known {
		r = exercise.RegisterFor(key, working)
	}
	if m.cmd.Flags().Changed("octave") {
		if m.octave < 1 || m.octave > 6 {
			return r, usagef("--octave: %d is out of range: want 1 to 6", m.octave)
		}
		r.TonicOctave = m.octave
	}
	return r, nil
}

// readKey reads a key, church modes included, or draws one where seed is not nil: "random", "random
// major", "random minor".
func readKey(s string, seed func() uint64) (theory.Key, error) {
	word, rest, _ := strings.Cut(strings.ToLower(strings.TrimSpace(s)), " ")
	if word != "random" || seed == nil {
		return theory.ParseModalKey(s)
	}
	keys := theory.Keys()
	switch strings.TrimSpace(rest) {
	case "":
	case "major", "minor":
		kept := keys[:0]
		for _, k := range keys {
			if k.Mode.String() == strings.TrimSpace(rest) {
				kept = append(kept, k)
			}
		}
		keys = kept
	default:
		return theory.Key{}, fmt.Errorf("%w: %q; want random, random major or random minor", theory.ErrKey, short(s))
	}
	return keys[rand.New(rand.NewPCG(seed(), 0x6b6579)).IntN(len(keys))], nil
}

// What the flags about tuning, names and voice say.
const tuningHelp = "`SYSTEM` of tuning: equal, just (also \"just re=10/9 te=16/9\"), pythagorean"

func namesHelp() string {
	return "what degrees are called, a `NAMING`: " + strings.Join(namingNames(), ", ")
}

func readAsHelp() string { return "the `NAMING` of the names that are read, as for --names" }

func voiceHelp() string { return "the `VOICE`: " + strings.Join(exercise.Voices(), ", ") }

// tuningWordList is what --tuning may be, for completion.
var tuningWordList = []string{"equal", "just", "just re=10/9", "just te=16/9", "just re=10/9 te=16/9", "pythagorean"}

func namingNames() []string {
	var names []string
	for _, n := range theory.Namings() {
		names = append(names, n.String())
	}
	return names
}

// keyNames lists the keys for completion, and if drawn the words for one that
// is drawn.
func keyNames(drawn bool) []string {
	var names []string
	for _, k := range theory.Keys() {
		names = append(names, k.ASCII())
	}
	if drawn {
		names = append(names, "random", "random major", "random minor", "best", "best major", "best minor")
	}
	return names
}

// completeDegrees offers the degrees of the key on the command line so far, in
// the naming on it, and after them the words given. Where no key has been
// named yet it takes C major.
func (m *music) completeDegrees(words ...string) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		naming, err := theory.ParseNaming(m.names)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		key, err := theory.ParseModalKey(m.key)
		if err != nil {
			key = theory.Key{}
		}
		var names []string
		for _, d := range key.ChromaticDegrees() {
			names = append(names, naming.NameASCII(key, d))
		}
		return append(names, words...), cobra.ShellCompDirectiveNoFileComp
	}
}

func fixed(words ...string) cobra.CompletionFunc {
	return cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)
}

// orFile completes words, and files.
func orFile(words ...string) cobra.CompletionFunc {
	return cobra.FixedCompletions(words, cobra.ShellCompDirectiveDefault)
}

// must stops on an error that only a mistake in this program can cause.
func must(err error) {
	if err != nil {
		panic(err)
	}
}
