package cli

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
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
	octave         int
	pulse          string
	to, out        string
	force          bool
	format         *format
	cmd            *cobra.Command
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
none), or writes it in another format (--to). What a file holds that a single
line cannot show is named on standard error, with its line or bar.

` + levelsText(),
		Example: `  singback melody --level 3 --key Eb --seed 7
  singback melody --level 5 --voice tenor --names none --seed 1
  singback melody --level 4 --seed 2 --to abc
  singback melody "do re mi - sol" --key G --to abc
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
	f.StringVar(&o.voice, "voice", "", voiceHelp()+"; the melody keeps to its range")
	f.StringVar(&o.compass, "range", "", "the lowest and the highest note, like `C3-A4`")
	f.StringVar(&o.names, "names", theory.Movable.String(), namesHelp()+"; none shows none")
	f.StringVar(&o.from, "read-as", theory.Movable.String(), readAsHelp())
	oldName(cmd, "from", "read-as")
	f.IntVar(&o.octave, "octave", 0, "the `OCTAVE` of the tonic, where 4 begins at middle C, for names that are read")
	f.StringVar(&o.pulse, "pulse", "1/4", "the `NOTE` value of a pulse, for names that are read: 1/4, 1/2, 3/8, 1/8")
	f.StringVar(&o.part, "part", "", "the voice, part or track of a notation file: its `NAME` or number; P1:2 is voice 2 of part P1")
	f.StringVar(&o.clef, "clef", "", "the `CLEF`: treble, treble-8 or bass (else the one that fits)")
	f.StringVar(&o.to, "to", "text", "the `NOTATION` a line is written in: "+strings.Join(targets, ", "))
	addOut(cmd, &o.out, &o.force, "FILE", ", by whose ending --to goes; several melodies into this folder")
	addFormat(cmd, o.format)
	for flag, words := range map[string][]string{
		"level": {"1", "2", "3", "4", "5", "6", "7"}, "key": keyNames(false), "to-key": keyNames(false), "voice": exercise.Voices(),
		"names": append(namingNames(), "none"), "read-as": namingNames(), "pulse": {"1/4", "1/2", "3/8", "1/8"}, "clef": {"treble", "treble-8", "bass"}, "to": targets,
	} {
		must(cmd.RegisterFlagCompletionFunc(flag, fixed(words...)))
	}
	return cmd
}

func levelsText() string {
	var b strings.Builder
	b.WriteString("Levels; a melody has at most one of the things that are new at its level:\n")
	for l := 1; l <= compose.Levels; l++ {
		words, line := strings.Fields(report.LevelText(l)), fmt.Sprintf("  %d ", l)
		for _, w := range words {
			if len(line)+1+len(w) > 79 {
				b.WriteString(line + "\n")
				line = "    "
			}
			line += " " + w
		}
		b.WriteString(line + "\n")
	}
	return strings.TrimRight(b.String(), "\n")
}

// clefs are the ones that voices read (common practice).
var clefs = map[string]notation.Clef{
	"soprano": notation.Treble, "mezzo": notation.Treble, "alto": notation.Treble, "child": notation.Treble,
	"tenor": notation.TrebleDown, "baritone": notation.Bass, "bass": notation.Bass,
}

// line is a melody with what is known of it.
type line struct {
	score    theory.Score
	level    int
	skill    string
	seed     *uint64
	warnings []notation.Warning
}

func (o *melodyOptions) run(e *env, args []string) error {
	var naming theory.Naming
	show := o.names != "none"
	if show {
		var err error
		if naming, err = theory.ParseNaming(o.names); err != nil {
			return usage(fmt.Errorf("--names: %w; or none", err))
		}
	}
	if err := o.target(); err != nil {
		return err
	}
	view := notation.View{ASCII: e.ascii()}
	if o.to == "text" && o.out == "" {
		view.Width = e.width(e.stdout)
	}
	if o.clef != "" {
		c, err := notation.ParseClef(o.clef)
		if err != nil {
			return usage(fmt.Errorf("--clef: %w", err))
		}
		view.Clef = &c
	}
	if c, ok := clefs[strings.ToLower(strings.TrimSpace(o.voice))]; ok && view.Clef == nil {
		view.Clef = &c
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
	if o.toKey != "" {
		k, err := theory.ParseKey(o.toKey)
		if err != nil {
			return usage(fmt.Errorf("--to-key: %w", err))
		}
		for i := range lines {
			if lines[i].score, err = lines[i].score.In(k); err != nil {
				return usage(fmt.Errorf("--to-key: %w", err))
			}
		}
		if compass != (theory.Range{}) {
			for i := range lines {
				if lines[i].score, err = intoRange(lines[i].score, compass); err != nil {
					return err
				}
			}
		}
	}
	for _, w := range lines[0].warnings {
		fmt.Fprintf(e.stderr, "singback melody: %s\n", w)
	}
	if o.format.value != "json" {
		o.sayPulse(e, lines[0].score)
	}
	if o.format.value == "json" {
		var records []melodyRecord
		for _, l := range lines {
			records = append(records, newMelodyRecord(l, naming, show))
		}
		return o.write(e, func(w io.Writer) error {
			enc := json.NewEncoder(w)
			enc.SetIndent("", "  ")
			if o.count == 1 {
				return enc.Encode(records[0])
			}
			return enc.Encode(records)
		})
	}
	one := func(w io.Writer, l line) error {
		v := view
		if show && (o.to == "text" || o.to == "svg") {
			v.Labels = notation.Labels(l.score, naming, v.ASCII && o.to == "text")
		}
		return o.writeLine(w, l, v, naming, report.Style{Names: naming, ASCII: view.ASCII})
	}
	if len(lines) == 1 || o.out == "" {
		if len(lines) > 1 && o.to != "text" && o.to != "names" {
			return usagef("--count: several melodies as %s need a folder: --out FOLDER", o.to)
		}
		return o.write(e, func(w io.Writer) error {
			for i, l := range lines {
				if i > 0 {
					fmt.Fprintln(w)
				}
				if err := one(w, l); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := os.MkdirAll(o.out, 0o777); err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	ending := map[string]string{"text": "txt", "names": "txt", "midi": "mid"}[o.to]
	if ending == "" {
		ending = o.to
	}
	name := func(l line) string {
		return filepath.Join(o.out, fmt.Sprintf("level-%d-%d.%s", l.level, *l.seed, ending))
	}
	for _, l := range lines {
		if _, _, err := lookAt(name(l), o.force); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	for _, l := range lines {
		if err := e.writeFile(name(l), o.force, forAll, func(w io.Writer) error { return one(w, l) }); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
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
	low, high, ok := o.compass, "", false
	for i, c := range o.compass { // the hyphen behind an octave: not the one of C-1
		if c == '-' && i > 0 && o.compass[i-1] >= '0' && o.compass[i-1] <= '9' {
			low, high, ok = o.compass[:i], o.compass[i+1:], true
			break
		}
	}
	from, err1 := theory.ParsePitch(low)
	to, err2 := theory.ParsePitch(high)
	if !ok || err1 != nil || err2 != nil || from.MIDI() > to.MIDI() || from.MIDI() < 0 || to.MIDI() > 127 {
		return r, usagef("--range: %q: want the lowest and the highest note, like C3-A4", short(o.compass))
	}
	return theory.Range{Low: from.MIDI(), High: to.MIDI()}, nil
}

func (o *melodyOptions) generate(e *env, compass theory.Range) ([]line, error) {
	for _, flag := range []string{"read-as", "part", "octave", "pulse"} {
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
		lines[i] = line{score: m.Score, level: m.Level, skill: m.Skill, seed: &m.Seed}
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
	options := notation.Options{Voice: o.part, Naming: naming}
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
	var l line
	typed := strings.Join(args, " ")
	file, name, err := openMelody(e, args)
	switch {
	case err != nil:
		return nil, err
	case file != nil:
		defer file.Close()
		l.score, l.warnings, err = notation.Read(name, file, options)
	case strings.TrimSpace(typed) == "":
		return nil, usagef(`the melody is empty: want names like "do re mi - sol", or a file`)
	default:
		l.score, l.warnings, err = notation.Parse("", []byte(typed), options)
		if err != nil {
			err = usage(err)
		}
	}
	if err != nil {
		return nil, err
	}
	if compass != (theory.Range{}) {
		if l.score, err = intoRange(l.score, compass); err != nil {
			return nil, err
		}
	}
	return []line{l}, nil
}

// openMelody opens what the arguments name, if they name a file. What looks like
// the name of one and is none is an error.
func openMelody(e *env, args []string) (io.ReadCloser, string, error) {
	if len(args) != 1 {
		return nil, "", nil
	}
	name := args[0]
	if name == "-" {
		return io.NopCloser(e.stdin), "standard input", nil
	}
	f, err := os.Open(name)
	if err == nil {
		info, err := f.Stat()
		if err == nil && info.IsDir() {
			err = fmt.Errorf("%s is a folder: want a file", short(name))
		}
		if err != nil {
			f.Close()
			return nil, "", err
		}
		return f, name, nil
	}
	_, known := notation.ByName(name)
	if known || !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, fs.ErrInvalid) && strings.ContainsRune(name, filepath.Separator) {
		return nil, "", err
	}
	return nil, "", nil
}

// intoRange moves a line by octaves to where most of its notes lie in a range.
func intoRange(s theory.Score, r theory.Range) (theory.Score, error) {
	best, bestIn, bestOff := 0, -1, 0
	for n := -8; n <= 8; n++ {
		in, off := 0, 0
		for _, w := range s.Notes {
			if w.Rest {
				continue
			}
			p := w.Pitch
			p.Octave += n
			if r.Contains(p) {
				in++
			}
			off += 2*p.MIDI() - r.Low - r.High
		}
		if off = max(off, -off); in > bestIn || in == bestIn && off < bestOff {
			best, bestIn, bestOff = n, in, off
		}
	}
	return s.Octaves(best)
}

// writeLine writes one line as --to says.
func (o *melodyOptions) writeLine(w io.Writer, l line, v notation.View, naming theory.Naming, style report.Style) error {
	switch o.to {
	case "text":
		heading := []string{style.Key(l.score.Key)}
		if l.score.Meter.Valid() {
			heading = append(heading, l.score.Meter.String())
		}
		if l.score.Title != "" {
			heading = append(heading, l.score.Title)
		}
		if l.skill != "" {
			heading = append(heading, l.skill)
		}
		text, err := notation.Text(l.score, v)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(w, "%s\n\n%s", strings.Join(heading, ", "), text)
		return err
	case "svg":
		text, err := notation.SVG(l.score, v)
		if err != nil {
			return err
		}
		_, err = io.WriteString(w, text)
		return err
	case "names":
		if o.names == "none" {
			return usagef("--names: none leaves nothing to write as names")
		}
		text, err := namesOf(l.score, naming, style.ASCII)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(w, text)
		return err
	}
	for _, f := range notation.Formats() {
		if f.String() == o.to {
			return notation.Write(w, l.score, f)
		}
	}
	return nil
}

// namesOf writes a line in names below a heading with its key, so that it is read
// back as the same line: octaves are marked from where names without a mark are
// read.
func namesOf(s theory.Score, naming theory.Naming, ascii bool) (string, error) {
	m, octave, err := s.Melody()
	if err != nil {
		return "", err
	}
	up := octave - middleOctave(m.Key)
	for i := range m.Tones {
		if t := &m.Tones[i]; !t.Rest {
			t.Octave += up
			if t.Bridge != (theory.Degree{}) {
				t.BridgeOctave += up
			}
		}
	}
	text, err := m.Text(naming, ascii)
	return m.Heading() + ". " + text, err
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
	if err := e.writeFile(o.out, o.force, forAll, func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err }); err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	return nil
}

// melodyRecord is what melody prints with --format json. Times and lengths are
// exact fractions of quarter notes, as text.
type melodyRecord struct {
	Schema   int            `json:"schema"`
	Title    string         `json:"title"`
	Level    *int           `json:"level"` // null where the line was read
	Skill    *string        `json:"skill"` // what is new at the level; null: nothing, or read
	Seed     *uint64        `json:"seed"`
	Key      string         `json:"key"`
	Meter    *string        `json:"meter"`     // null without bars
	TempoBPM *float64       `json:"tempo_bpm"` // counted beats a minute; null where not said
	Pickup   string         `json:"pickup"`    // length of an incomplete first bar, "0" without
	Clef     string         `json:"clef"`
	Length   string         `json:"length"`
	Notes    []melodyNote   `json:"notes"`
	Changes  []melodyChange `json:"changes"`
	Warnings []string       `json:"warnings"`
}

type melodyNote struct {
	Start  string  `json:"start"`
	Length string  `json:"length"`
	Bar    *int    `json:"bar"`  // from 1; a pickup is bar 0; null without bars
	Note   *string `json:"note"` // null in a rest
	MIDI   *int    `json:"midi"`
	Degree *string `json:"degree"` // counted from the major scale on the tonic of the moment
	Name   *string `json:"name"`   // in --names; null with none
	Slur   bool    `json:"slur"`
	Words  string  `json:"words"`
}

type melodyChange struct {
	Start string  `json:"start"`
	Key   string  `json:"key"`
	Meter *string `json:"meter"`
}

func newMelodyRecord(l line, n theory.Naming, names bool) melodyRecord {
	s := l.score
	meter := func(m theory.Meter) *string {
		if !m.Valid() {
			return nil
		}
		text := m.String()
		return &text
	}
	r := melodyRecord{Schema: report.Schema, Title: s.Title, Key: s.Key.ASCII(), Meter: meter(s.Meter), Pickup: "0", Clef: notation.ClefFor(s).String(),
		Length: s.Length().String(), Changes: []melodyChange{}, Warnings: []string{}, Seed: l.seed}
	if l.seed != nil {
		r.Level = &l.level
	}
	if l.skill != "" {
		r.Skill = &l.skill
	}
	if s.Tempo > 0 {
		r.TempoBPM = &s.Tempo
	}
	first := 1
	if s.Start.Num > 0 {
		r.Pickup, first = s.Start.String(), 0
	}
	for _, w := range l.warnings {
		r.Warnings = append(r.Warnings, string(w))
	}
	for _, c := range s.Changes {
		r.Changes = append(r.Changes, melodyChange{c.At.String(), c.Key.ASCII(), meter(c.Meter)})
	}
	bars := s.Bars()
	at, bar, k, changes := theory.Fraction{Num: 0, Den: 1}, 0, s.Key, s.Changes
	labels := notation.Labels(s, n, true)
	for i, w := range s.Notes {
		for bar+1 < len(bars) && !at.Less(bars[bar+1]) {
			bar++
		}
		for len(changes) > 0 && !at.Less(changes[0].At) {
			k, changes = changes[0].Key, changes[1:]
		}
		note := melodyNote{Start: at.String(), Length: w.Length.String(), Slur: w.Slur, Words: w.Words}
		if bars != nil {
			number := bar + first
			note.Bar = &number
		}
		if !w.Rest {
			name, midi, degree := w.Pitch.ASCII(), w.Pitch.MIDI(), k.Degree(w.Pitch.Note).ASCII()
			note.Note, note.MIDI, note.Degree = &name, &midi, &degree
			if names {
				note.Name = &labels[i]
			}
		}
		r.Notes = append(r.Notes, note)
		at = at.Plus(w.Length)
	}
	return r
}
