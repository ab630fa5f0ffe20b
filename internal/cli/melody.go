package cli

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/drill"
	"singback/internal/engrave"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/synth"
	"singback/theory"
)

// melodyOptions are the flags of melody.
type melodyOptions struct {
	level, count   int
	seed           uint64
	key, toKey     string
	voice, compass string
	names, from    string
	part, clef     string
	tune           string
	octave         int
	pulse          string
	to, out        string
	music          music
	tempo          float64
	accompaniment
	loudness float64
	plays    string // --instrument
	heard    string // --sound
	soundFlags
	format *format
	cmd    *cobra.Command
}

// targets are what --to may be.
var targets = []string{"text", "svg", "abc", "musicxml", "mxl", "midi", "names"}

func newMelody(e *env) *cobra.Command {
	o := melodyOptions{format: newFormat("text", "json")}
	cmd := &cobra.Command{
		Use:   "melody [FILE | NAMES]",
		Short: "Make a melody to sing at sight, or read one; show it, convert it",
		Long: `Melody makes lines to be sung at sight, in seven levels (--level), in the key
and range asked for. Given a FILE (ABC, MusicXML, compressed MusicXML, Standard
MIDI File, or names in a text file; - for standard input) or NAMES typed like
"do re mi - sol", it reads that line instead.

It shows the line as a staff with syllables, numbers or nothing below (--names
none), or writes it in another format (--to). Chord symbols stand above the
staff and move with --to-key; words stand below. What a file holds that a single
line cannot show is named on standard error, with its line or bar.

With --output it sounds too, or is written as a guide track to sing along with:
--count-in counts before it (--count-in=voice sings do on each beat), --click goes
on, --backing has a band play under it, on the chords of the file or else such as fit
the melody; --tempo and --tuning say how it is played, and --sound voice has a voice
sing it, on syllables.

` + report.Levels(),
		Example: `  singback melody --level 3 --key Eb --seed 7
  singback melody --level 5 --voice tenor --names none --seed 1
  singback melody --level 4 --seed 2 --to abc
  singback melody "do re mi - sol" --key G --to abc
  singback melody hymn.abc --count-in --output guide.wav
  singback melody hymn.abc --count-in --backing ballad --output band.wav
  singback melody --key D --read-as curwen --names numbers "| d :r | m :f | s :- | - :- ||"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.cmd = cmd
			return o.run(e, args)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.level, "level", 1, "`LEVEL` of the melodies, 1 to 7 (see below)")
	f.IntVar(&o.count, "count", 1, "how many melodies")
	f.Uint64Var(&o.seed, "seed", 0, "number that draws the melodies; the same number, the same melodies")
	f.StringVar(&o.key, "key", "", "the `KEY`, like \"Ab major\" or f#m (else one of the level's, the file's, or C major); the notes of a file are counted in it, and --to-key moves them")
	f.StringVar(&o.toKey, "to-key", "", "move it to this `KEY` of the same mode")
	f.StringVar(&o.voice, "voice", "", drill.VoiceHelp()+"; the melody keeps to its range")
	f.StringVar(&o.compass, "range", "", "the lowest and the highest note, like `C3-A4`")
	f.StringVar(&o.names, "names", theory.Movable.String(), drill.NamesHelp()+"; none shows none")
	f.StringVar(&o.from, "read-as", theory.Movable.String(), readAsHelp())
	oldName(cmd, "from", "read-as")
	f.IntVar(&o.octave, "octave", 0, "the `OCTAVE` of the tonic, where 4 begins at middle C, for names that are read")
	f.StringVar(&o.pulse, "pulse", "1/4", "the `NOTE` value of a pulse, for names that are read: 1/4, 1/2, 3/8, 1/8")
	addTune(cmd, &o.tune)
	f.StringVar(&o.part, "part", "", partHelp+"; P1:2 is voice 2 of part P1")
	f.StringVar(&o.clef, "clef", "", "the `CLEF`: treble, treble-8 or bass (else the one that fits)")
	f.StringVar(&o.to, "to", "text", "the `NOTATION` a line is written in: "+strings.Join(targets, ", "))
	addOut(cmd, &o.out, &o.force, "FILE", ", by whose ending --to goes; several melodies into this folder")
	addFormat(cmd, o.format)
	o.music.cmd = cmd
	o.soundFlags.addSounding(cmd)
	f.Lookup("output").Usage += " (else it is not sounded)"
	f.Float64Var(&o.tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else the melody's)")
	o.accompaniment.add(cmd)
	o.addBacking(cmd)
	f.Float64Var(&o.music.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&o.music.Tuning, "tuning", theory.Equal.String(), drill.TuningHelp)
	drill.AddLoudness(f, &o.loudness)
	drill.AddInstrument(f, &o.plays, synth.Piano)
	drill.AddSound(f, &o.heard)
	completed(cmd, "tuning", fixed(tuningWordList...))
	for flag, words := range map[string][]string{
		"level": {"1", "2", "3", "4", "5", "6", "7"}, "instrument": synth.InstrumentNames(), "sound": soundWords, "key": keyNames(false), "to-key": keyNames(false), "voice": exercise.Voices(),
		"names": append(namingNames(), "none"), "read-as": namingNames(), "pulse": {"1/4", "1/2", "3/8", "1/8"}, "clef": {"treble", "treble-8", "bass"}, "to": targets,
	} {
		completed(cmd, flag, fixed(words...))
	}
	return cmd
}

// line is a melody with what is known of it.
type line struct {
	score    theory.Score
	made     *compose.SightMelody // nil: it was read
	warnings []notation.Warning
}

// skill is what is new in a melody that was made; "" without.
func (l line) skill() string {
	if l.made == nil {
		return ""
	}
	return l.made.Skill
}

func (l line) record(how melodyView) report.Melody {
	if l.made != nil {
		return report.NewMadeMelody(l.score, *l.made, how.naming, how.names)
	}
	r := report.NewMelody(l.score, l.warnings)
	if how.names {
		r = r.Named(l.score, how.naming)
	}
	return r
}

// melodyView is how the lines are to be written.
type melodyView struct {
	naming theory.Naming
	names  bool // below the notes
	view   engrave.View
}

func (o *melodyOptions) run(e *env, args []string) error {
	if err := o.accompaniment.read(args...); err != nil {
		return err
	}
	how, err := o.view(e)
	if err != nil {
		return err
	}
	compass, err := o.readRange()
	if err != nil {
		return err
	}
	var lines []line
	if len(args) == 0 {
		lines, err = o.generate(e, compass)
	} else {
		lines, err = o.read(e, args, compass)
	}
	if err != nil {
		return err
	}
	if err := o.move(lines, compass); err != nil {
		return err
	}
	for _, w := range lines[0].warnings {
		fmt.Fprintf(e.stderr, "singback melody: %s\n", w)
	}
	sound, err := o.sound(e, lines)
	if err != nil {
		return err
	}
	if err := o.show(e, lines, how); err != nil || sound == nil {
		return err
	}
	return sound(o.cmd.Context())
}

// show writes the lines.
func (o *melodyOptions) show(e *env, lines []line, how melodyView) error {
	if o.format.value == "json" {
		var records []report.Melody
		for _, l := range lines {
			records = append(records, l.record(how))
		}
		return o.write(e, func(w io.Writer) error {
			if o.count == 1 {
				return indented(w, records[0])
			}
			return indented(w, records)
		})
	}
	o.sayPulse(e, lines[0].score)
	if lines[0].score.Symbols != nil && (o.to == "midi" || o.to == "names") {
		fmt.Fprintf(e.stderr, "singback melody: %s has no chord symbols: they were left out\n", o.to)
	}
	if len(lines) > 1 && o.out != "" {
		return o.writeFolder(lines, how)
	}
	if len(lines) > 1 && o.to != "text" && o.to != "names" {
		return usagef("--count: several melodies as %s need a folder: --out FOLDER", o.to)
	}
	return o.write(e, func(w io.Writer) error {
		for i, l := range lines {
			if i > 0 {
				fmt.Fprintln(w)
			}
			if err := o.writeLine(w, l, how); err != nil {
				return err
			}
		}
		return nil
	})
}

// view reads the flags about how lines are written.
func (o *melodyOptions) view(e *env) (how melodyView, err error) {
	if how.names = o.names != "none"; how.names {
		if how.naming, err = theory.ParseNaming(o.names); err != nil {
			return how, usage(fmt.Errorf("--names: %w; or none", err))
		}
	}
	if err := o.target(); err != nil {
		return how, err
	}
	how.view.ASCII = e.ascii()
	if o.to == "text" && o.out == "" {
		how.view.Width = e.width(e.stdout)
	}
	if c, ok := engrave.VoiceClef(o.voice); ok {
		how.view.Clef = &c
	}
	if o.clef != "" {
		c, err := theory.ParseClef(o.clef)
		if err != nil {
			return how, usage(fmt.Errorf("--clef: %w", err))
		}
		how.view.Clef = &c
	}
	return how, nil
}

// move moves the lines to --to-key, and back into the range.
func (o *melodyOptions) move(lines []line, compass theory.Range) error {
	if o.toKey == "" {
		return nil
	}
	k, err := theory.ParseKey(o.toKey)
	if err != nil {
		return usage(fmt.Errorf("--to-key: %w", err))
	}
	for i := range lines {
		if text := notation.Unmoved(lines[i].score); text != "" {
			lines[i].warnings = append(lines[i].warnings, notation.Warning(text))
		}
		if lines[i].score, err = lines[i].score.In(k); err != nil {
			return usage(fmt.Errorf("--to-key: %w", err))
		}
		if compass == (theory.Range{}) {
			continue
		}
		if lines[i].score, err = lines[i].score.Into(compass); err != nil {
			return err
		}
	}
	return nil
}

// writeFolder writes each line into a file of its own; none where one would
// replace another.
func (o *melodyOptions) writeFolder(lines []line, how melodyView) error {
	ending := map[string]string{"text": "txt", "names": "txt", "midi": "mid"}[o.to]
	if ending == "" {
		ending = o.to
	}
	name := func(i int) string {
		return fmt.Sprintf("level-%d-%d.%s", lines[i].made.Level, lines[i].made.Seed, ending)
	}
	err := newfile.WriteAll(o.out, len(lines), name, o.force, newfile.ForAll, func(i int, w io.Writer) error { return o.writeLine(w, lines[i], how) })
	if err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	return nil
}

// target reads --to, or the ending of --out.
func (o *melodyOptions) target() error {
	if !o.cmd.Flags().Changed("to") && o.out != "" && o.count == 1 {
		if f, ok := notation.ByName(o.out); ok && f != notation.Names {
			o.to = f.String()
		} else if strings.EqualFold(filepath.Ext(o.out), ".svg") {
			o.to = "svg"
		}
	}
	for _, t := range targets {
		if o.to == t {
			return nil
		}
	}
	return usagef("--to: %q: want one of %s", short(o.to), strings.Join(targets, ", "))
}

// readRange reads --voice and --range.
func (o *melodyOptions) readRange() (theory.Range, error) {
	var r theory.Range
	switch {
	case o.voice != "" && o.compass != "":
		return r, usagef("--voice and --range exclude each other")
	case o.voice != "":
		v, err := exercise.VoiceNamed(o.voice)
		if err != nil {
			return r, usage(fmt.Errorf("--voice: %w", err))
		}
		return exercise.Working(v.Range), nil
	case o.compass == "":
		return r, nil
	}
	r, err := theory.ParseRange(o.compass)
	if err != nil {
		return r, usage(fmt.Errorf("--range: %w", err))
	}
	return r, nil
}

func (o *melodyOptions) generate(e *env, compass theory.Range) ([]line, error) {
	for _, flag := range []string{"read-as", "part", "tune", "octave", "pulse"} {
		if o.cmd.Flags().Changed(flag) {
			return nil, usagef("--%s is about a line that is read: give a FILE or names", flag)
		}
	}
	order := compose.MelodyOrder{Level: o.level, Count: o.count, Seed: o.seed, Range: compass}
	if !o.cmd.Flags().Changed("seed") {
		order.Seed = e.seed()
	}
	if o.key != "" {
		k, err := theory.ParseKey(o.key)
		if err != nil {
			return nil, usage(fmt.Errorf("--key: %w", err))
		}
		order.Key = &k
	}
	ms, err := compose.NewMelodies(order)
	if err != nil {
		return nil, usage(err)
	}
	lines := make([]line, len(ms))
	for i, m := range ms {
		lines[i] = line{score: m.Score, made: &m}
	}
	return lines, nil
}

// pulses are the values of --pulse, in quarter notes.
var pulses = map[string]theory.Fraction{"1/4": {Num: 1, Den: 1}, "1/2": {Num: 2, Den: 1}, "3/8": {Num: 3, Den: 2}, "1/8": {Num: 1, Den: 2}}

// middleOctave is the octave of the tonic of names that are read and written.
func middleOctave(k theory.Key) int { return exercise.MiddleRegister(k).TonicOctave }

func (o *melodyOptions) read(e *env, args []string, compass theory.Range) ([]line, error) {
	for _, flag := range []string{"level", "count", "seed"} {
		if o.cmd.Flags().Changed(flag) {
			return nil, usagef("--%s is about melodies that are made, and %q is to be read", flag, short(strings.Join(args, " ")))
		}
	}
	naming, err := theory.ParseNaming(o.from)
	if err != nil {
		return nil, usage(fmt.Errorf("--read-as: %w", err))
	}
	options := notation.Options{Voice: o.part, Tune: o.tune, Naming: naming}
	if o.key != "" {
		if options.Key, err = theory.ParseModalKey(o.key); err != nil {
			return nil, usage(fmt.Errorf("--key: %w", err))
		}
		options.KeyAsked = true
	}
	if o.pulse != "" {
		p, ok := pulses[o.pulse]
		if !ok {
			return nil, usagef("--pulse: %q: want 1/4, 1/2, 3/8 or 1/8", short(o.pulse))
		}
		options.Pulse = p
	}
	options.Octave = middleOctave
	if o.cmd.Flags().Changed("octave") {
		if o.octave < 0 || o.octave > 8 {
			return nil, usagef("--octave: %d is out of range: want 0 to 8", o.octave)
		}
		options.Octave = func(theory.Key) int { return o.octave }
	}
	l, err := readLine(e, args, options)
	if err == nil && compass != (theory.Range{}) {
		l.score, err = l.score.Into(compass)
	}
	return []line{l}, err
}

// readLine reads the line that the arguments are, or name.
func readLine(e *env, args []string, options notation.Options) (l line, err error) {
	m, err := e.openMelody(args)
	if err != nil {
		return l, err
	}
	defer m.close()
	switch {
	case m.in != nil:
		l.score, l.warnings, err = notation.Read(m.name, m.in, options)
	case strings.TrimSpace(m.text) == "":
		err = usagef(`the melody is empty: want names like "do re mi - sol", or a file`)
	default:
		l.score, l.warnings, err = notation.Parse("", []byte(m.text), options)
		err = usage(err)
	}
	return l, err
}

// writeLine writes one line as --to says.
func (o *melodyOptions) writeLine(w io.Writer, l line, how melodyView) error {
	if how.names && (o.to == "text" || o.to == "svg") {
		how.view.Labels = l.score.Labels(how.naming, how.view.ASCII && o.to == "text")
	}
	var text string
	var err error
	switch o.to {
	case "text":
		text, err = engrave.Text(l.score, how.view)
		text = report.Style{Names: how.naming, ASCII: how.view.ASCII}.Melody(l.score, l.skill(), text)
	case "svg":
		text, err = engrave.Printed(l.score, how.view)
	case "names":
		if !how.names {
			return usagef("--names: none leaves nothing to write as names")
		}
		text, err = notation.NamesOf(l.score, how.naming, middleOctave, how.view.ASCII)
		text += "\n"
	default:
		for _, f := range notation.Formats() {
			if f.String() == o.to {
				return notation.Write(w, l.score, f)
			}
		}
	}
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, text)
	return err
}

// sayPulse tells the pulse of names, which nothing in them does.
func (o *melodyOptions) sayPulse(e *env, s theory.Score) {
	if o.to != "names" || !s.Meter.Valid() {
		return
	}
	for _, name := range []string{"1/2", "3/8", "1/8"} {
		if s.Meter.Pulse() == pulses[name] {
			fmt.Fprintf(e.stderr, "singback melody: the pulse of these names is a %s note: read them with --pulse %s\n", name, name)
		}
	}
}

// write writes to --out or standard output.
func (o *melodyOptions) write(e *env, write func(io.Writer) error) error {
	binary := o.format.value != "json" && (o.to == "midi" || o.to == "mxl")
	if o.out == "" || o.out == "-" {
		if binary && e.terminal(e.stdout) {
			return usagef("%s is not written to a terminal: name a file with --out", o.to)
		}
		out := e.stdout
		if binary {
			out = plain.Around(out)
		}
		w := bufio.NewWriter(out)
		return errors.Join(write(w), w.Flush())
	}
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	if err := e.writeFile(o.out, o.force, newfile.ForAll, func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err }); err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	return nil
}
