package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/drill"
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
	m.cmd = cmd
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

// values is what the flags say.
func (m *music) values() *drill.Music {
	v := &drill.Music{
		Key: m.key, A4: m.a4, Tuning: m.tuning, Scale: m.scale, Names: m.names, Voice: m.voice, Octave: m.octave,
		Known: m.known,
	}
	if m.cmd != nil {
		v.Said = m.cmd.Flags().Changed
	}
	return v
}

// readKey reads the key that flag gave, or with --scale the key that names the
// scale on any tonic.
func (m *music) readKey(flag string, seed func() uint64) (theory.Key, error) {
	return m.values().ReadKey(flag, seed)
}

// base reads the flags into an item that asks for nothing yet. A random key is
// drawn with the seed; it is refused where seed is nil.
func (m *music) base(seed func() uint64) (exercise.Item, theory.Naming, error) {
	return m.values().Base(seed)
}

// readTuning reads --a4 and --tuning; without --a4 it takes the tuning of the
// singer's instrument.
func (m *music) readTuning() (theory.Tuning, error) { return m.values().ReadTuning() }

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
