package cli

import (
	"strings"
	"sync/atomic"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/drill"
	"singback/theory"
)

// music holds the flags about key, tuning, naming and register that several
// commands share.
type music struct {
	drill.Music

	singer
	cmd *cobra.Command
}

func (m *music) addFlags(cmd *cobra.Command) {
	m.AddFlags(cmd.Flags())
	m.addSinger(cmd)
}

// addSinger adds --profile to the flags about music that cmd has, and completes them.
func (m *music) addSinger(cmd *cobra.Command) {
	m.cmd = cmd
	m.singer.addFlag(cmd)
	complete(cmd, map[string][]string{"tuning": tuningWordList, "names": namingNames(), "voice": exercise.Voices()})
}

// complete has the words of flags completed.
func complete(cmd *cobra.Command, flags map[string][]string) {
	for name, words := range flags {
		completed(cmd, name, fixed(words...))
	}
}

// addKeyFlag adds --key, which may not be a random one.
func (m *music) addKeyFlag(cmd *cobra.Command, value, help string) {
	m.cmd = cmd
	cmd.Flags().StringVar(&m.Key, "key", value, help)
	complete(cmd, map[string][]string{"key": keyNames(false)})
}

// addScaleFlag adds --scale.
func (m *music) addScaleFlag(cmd *cobra.Command) {
	var names []string
	for _, s := range theory.Scales() {
		names = append(names, s.String())
	}
	cmd.Flags().StringVar(&m.Scale, "scale", "", "a `SCALE` on the tonic: "+strings.Join(names, ", "))
	completed(cmd, "scale", fixed(names...))
}

// values is what the flags say, and what is known of the singer.
func (m *music) values() *drill.Music {
	m.Known = m.known
	if m.cmd != nil {
		m.Said = m.cmd.Flags().Changed
	}
	return &m.Music
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

func readAsHelp() string { return "the `NAMING` of the names that are read, as for --names" }

// tuningWordList is what --tuning may be, for completion.
var tuningWordList = []string{"equal", "just", "just re=10/9", "just te=16/9", "just re=10/9 te=16/9", "pythagorean"}

// retries is what --retry may be.
var retries = []string{"ask", "always", "never"}

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
		naming, err := theory.ParseNaming(m.Names)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		key, err := theory.ParseModalKey(m.Key)
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
// completing counts the calls at work that complete words, or may.
var completing atomic.Int32

// completed has the words of a flag completed by f, if this call completes words: cobra
// keeps whatever it is told of that, and all that hangs on it, until the program ends.
func completed(cmd *cobra.Command, name string, f cobra.CompletionFunc) {
	if completing.Load() > 0 {
		must(cmd.RegisterFlagCompletionFunc(name, f))
	}
}

func must(err error) {
	if err != nil {
		panic(err)
	}
}
