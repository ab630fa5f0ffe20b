package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// flagGroups are the headings under which help lists the flags, the same ones in the
// same order for every command. A word is in one of them only, since it means the
// same in every command; a flag that is in none is not shown, which a test finds.
var flagGroups = []struct {
	heading string
	names   []string
}{
	{"What is asked", []string{
		"minutes", "singing", "course", "date", "since", "model", "tune", "part", "key", "scale", "chromatic", "degree", "degrees", "of", "qualities", "from", "answer",
		"level", "count", "length", "notes", "to-key", "all-keys", "pulse", "home", "mode", "line", "by", "meter", "beats", "first-beat", "read-as", "key-profile",
		"progressions", "texture", "parts", "shift", "voices", "style", "only", "also", "skip", "note", "growing", "widen",
		"set", "set-every", "study", "hear", "against", "play", "tempo", "silent-bars", "wait", "wait-click", "modulate", "drone", "vamp", "backing", "headphones", "count-in", "free", "click", "cursor", "gap", "think", "hold", "timeout",
		"tolerance", "strict", "strict-octave", "compare", "guess", "feedback", "retry", "then", "yes", "seed", "live", "estimates",
		"all", "take", "what", "at", "until",
	}},
	{"Voice and tuning", []string{"profile", "voice", "range", "octave", "a4", "tuning", "names", "chords", "clef"}},
	{"Sound", []string{"input", "device", "keys", "channel", "partial", "output", "output-device", "tone", "sound", "instrument", "loudness", "louder", "keep"}},
	{"Record", []string{"singer", "record", "no-record"}},
	{"Class", []string{
		"class", "student", "task", "whose", "into", "roster", "called", "joined", "consent", "consent-by", "about", "exercise", "goal", "words", "given", "due", "rubric", "counts",
		"copy", "mark", "again", "try", "most", "lot", "verdict", "value", "why", "back", "recordings", "sheets",
	}},
	{"Handing in", []string{"address", "user", "password-file", "without-tls", "practice", "as", "hand-in"}},
	{"Output", []string{
		"format", "to", "no-open", "port", "out", "svg", "png", "html", "paper", "staff", "link", "resume", "list", "share", "damaged", "guard-formulas", "force",
		"actor", "home-page", "no-descriptions", "help", "version",
	}},
}

// soundFlags are the flags of the commands that listen or sound: what answers, and
// where the sound goes.
type soundFlags struct {
	input        []string
	device       string
	keys         string
	hands        bool // a keyboard is played beside what sings
	output       string
	outputDevice string
	force        bool
}

// addInput adds those of a command that hears.
func (s *soundFlags) addInput(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringArrayVar(&s.input, "input", nil, "what answers: mic, simulated, or recordings `FILE.wav ...`; - is standard input")
	f.StringVar(&s.device, "device", "", "microphone: part of its `NAME` (see singback devices)")
	completed(cmd, "input", orFile(inputMic, inputSimulated))
}

// addOutput adds those of a command that sounds.
func (s *soundFlags) addOutput(cmd *cobra.Command) {
	s.addSounding(cmd)
	addForce(cmd, &s.force)
}

// addSounding adds them but for --force, which the command has already.
func (s *soundFlags) addSounding(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&s.output, "output", "", "where the sound goes: speaker, none or `FILE.wav`")
	f.StringVar(&s.outputDevice, "output-device", "", "loudspeaker: part of its `NAME` (see singback devices)")
	completed(cmd, "output", orFile(outputSpeaker, outputNone))
}

// check finds mistakes in them; kind is what answers, as inputs found it.
func (s *soundFlags) check(kind string) error {
	switch {
	case s.device != "" && kind != "" && kind != inputMic:
		return usagef("--device: no microphone is used with that --input")
	case s.outputDevice != "" && s.output != "" && s.output != outputSpeaker:
		return usagef("--output-device: no loudspeaker is used with --output %s", short(s.output))
	}
	return nil
}

// addFormat adds --format, which says what goes to standard output.
func addFormat(cmd *cobra.Command, f *format) {
	last := len(f.allowed) - 1
	words := strings.Join(f.allowed[:last], ", ") + " or " + f.allowed[last]
	cmd.Flags().Var(f, "format", "results as "+words)
	completed(cmd, "format", f.complete)
}

// addOut adds --out, where a result is written, and --force. What says more of it.
func addOut(cmd *cobra.Command, out *string, force *bool, place, what string) {
	cmd.Flags().StringVar(out, "out", "", "write the result into this `"+place+"`"+what)
	if place == "FOLDER" {
		must(cmd.MarkFlagDirname("out"))
	}
	addForce(cmd, force)
}

// oldName has the old name of a flag work for one release more: help does not show
// it, and it says on standard error what it is called now. The command has the new one
// already.
func oldName(cmd *cobra.Command, old, now string) {
	flag := cmd.Flags().Lookup(now)
	cmd.Flags().Var(&oldFlag{
		kind: flag.Value.Type(),
		set: func(s string) error {
			if err := flag.Value.Set(s); err != nil {
				return err
			}
			flag.Changed = true
			return nil
		},
		note: func() {
			fmt.Fprintf(cmd.ErrOrStderr(), "Note: --%s is now --%s; the old spelling goes with the next release.\n", old, now)
		},
	}, old, flag.Usage)
	must(cmd.Flags().MarkHidden(old))
}

// oldFlag is the value of a flag that has another name now.
type oldFlag struct {
	kind  string
	set   func(string) error
	note  func()
	noted bool
}

func (o *oldFlag) String() string { return "" }
func (o *oldFlag) Type() string   { return o.kind }
func (o *oldFlag) Set(s string) error {
	if !o.noted {
		o.note()
	}
	o.noted = true
	return o.set(s)
}
