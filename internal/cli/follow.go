package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise/grade"
	"singback/internal/drill"
	"singback/internal/listen"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/internal/takedown"
	"singback/internal/takedown/words"
	"singback/theory"
)

// followOptions are the flags of follow.
type followOptions struct {
	key, mode, home string
	a4              float64
	line, by        string
	tempo           float64
	meter, beats    string
	firstBeat       float64
	style, names    string
	chords          string
	to, toKey, out  string
	keep            string
	seed            uint64
	loudness        float64
	singer          singer
	rec             recording
	soundFlags
	format *format
	cmd    *cobra.Command
}

// What --home, --line, --by, --to and --chords may be.
const (
	homeFirst, homeFind, homeKey = "first", "find", "key"
	lineBass, lineTune           = "bass", "tune"
	bySinging, byPlaying         = "sing", "play"
)

var (
	homes       = []string{homeFirst, homeFind, homeKey}
	followed    = []string{"text", "abc", "musicxml"}
	chordsNamed = []string{"numerals", "numbers", "symbols"}
)

// followLong is what help says of follow.
const followLong = `Follow takes down a song: listen to a record in your headphones and sing or play
its bass along, or its tune (--line tune). What you sing becomes degrees, the
degrees a line in bars, and over a bass come the chords that it can carry.

First fix home: sing do, hold it, and stop. It stays where you sing it, whatever
the record is tuned to; --key names it. --home find looks for it in a recording
that has none, --home key takes it from --key.

Bars come from the beat. Live: tap the space bar on every beat, from the first of
a bar on; or --tempo, then a click sounds and counts one bar in. For a recording:
--beats FILE has the times of the beats, in seconds, one a line, and behind each
its number in the bar, if known; or --tempo and --first-beat. Without a beat the
order is told, and no bars.

Very short notes, slides, slips of an octave and wrong notes that you mend at once
are cleaned away. What is not clear is marked ?, and not guessed.

The chart is text that you can mend and give to follow again, to move it, or to
write it as ABC or MusicXML. - goes on, 0 is a rest, ? is not known, do.re are two
halves of a beat; chords are numerals, numbers or symbols; # begins a remark.

Live, in a terminal: Enter after home goes on, space is a beat, Enter or q ends.
Elsewhere an interrupt ends. What was heard by then is taken down; the sound is
kept with --keep alone.`

func newFollow(e *env) *cobra.Command {
	o := &followOptions{format: newFormat("text", "json", "csv")}
	cmd := &cobra.Command{
		Use:   "follow [TAKE | CHART.txt]",
		Short: "Take a song down: sing its bass along, and read the chart",
		Long:  followLong,
		Example: `  singback follow --input simulated --seed 3
  singback follow bass.wav --tempo 92 --meter 4/4 --first-beat 4.1
  singback follow bass.wav --beats taps.txt --style pop --out chart.txt
  singback follow chart.txt --to-key F --chords numbers
  singback follow chart.txt --to abc --out song.abc`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.cmd = cmd
			return o.run(cmd.Context(), e, args)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.key, "key", "", "the `KEY`, like \"Ab major\" or f#m: what home is called, and the mode")
	f.StringVar(&o.mode, "mode", "", "the `MODE`: major or minor (else found)")
	f.StringVar(&o.home, "home", homeFirst, "`HOW` home is known: first (the first held note), find, or key")
	f.Float64Var(&o.a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, by which home is named")
	f.StringVar(&o.line, "line", lineBass, "`WHAT` you sing along: bass or tune")
	f.StringVar(&o.by, "by", bySinging, "`HOW` you follow: sing or play")
	f.Float64Var(&o.tempo, "tempo", 0, "`BEATS` a minute, 20 to 400; live a click sounds")
	f.StringVar(&o.meter, "meter", "4/4", "the time `SIGNATURE`, like 3/4 or 6/8")
	f.StringVar(&o.beats, "beats", "", "the `FILE` with the times of the beats, in seconds, one a line; - is standard input")
	f.Float64Var(&o.firstBeat, "first-beat", 0, "`SECONDS` until the first beat of a bar (else the first note)")
	f.StringVar(&o.style, "style", "", drill.StyleHelp())
	f.StringVar(&o.names, "names", theory.Movable.String(), drill.NamesHelp())
	f.StringVar(&o.chords, "chords", "numerals", "what chords are called beside their symbols, a `KIND`: numerals, numbers, or symbols alone")
	f.StringVar(&o.to, "to", "text", "the `NOTATION` a line is written in: "+strings.Join(followed, ", "))
	f.StringVar(&o.toKey, "to-key", "", "move it to this `KEY` of the same mode")
	f.StringVar(&o.keep, "keep", "", "keep what was sung as WAV in this `FOLDER`")
	f.Uint64Var(&o.seed, "seed", 0, "number that draws what the simulated singer sings")
	addOut(cmd, &o.out, &o.force, "FILE", ", by whose ending --to goes")
	addFormat(cmd, o.format)
	drill.AddLoudness(f, &o.loudness)
	o.singer.addFlag(cmd)
	o.rec.addFlags(cmd)
	o.addInput(cmd)
	o.addSounding(cmd)
	must(cmd.MarkFlagDirname("keep"))
	complete(cmd, map[string][]string{
		"key": keyNames(false), "to-key": keyNames(false), "mode": {"major", "minor"}, "home": homes, "line": {lineBass, lineTune},
		"by": {bySinging, byPlaying}, "meter": {"4/4", "3/4", "2/4", "6/8", "12/8", "2/2"}, "style": styleNames(), "names": namingNames(),
		"chords": chordsNamed, "to": followed,
	})
	return cmd
}

// following is what the flags of follow say.
type following struct {
	key     *theory.Key
	mode    *theory.Mode
	meter   theory.Meter
	style   theory.Style
	naming  theory.Naming
	toKey   *theory.Key
	beats   *takedown.Beats // of --beats
	hearing listen.Hearing
	words   report.Style
}

// check reads the flags.
func (o *followOptions) check(e *env) (w following, err error) {
	read := func(text, flag string) *theory.Key {
		if text == "" || err != nil {
			return nil
		}
		k, wrong := theory.ParseKey(text)
		if wrong != nil {
			err = usage(fmt.Errorf("--%s: %w", flag, wrong))
		}
		return &k
	}
	w.key, w.toKey = read(o.key, "key"), read(o.toKey, "to-key")
	if err != nil {
		return w, err
	}
	if w.mode, err = o.readMode(w.key); err != nil {
		return w, err
	}
	if w.meter, err = theory.ParseMeter(o.meter); err != nil {
		return w, usage(fmt.Errorf("--meter: %w", err))
	}
	who := o.singer // a recording is listened to as of nobody in particular
	if w.style, err = who.style(e, o.style); err != nil {
		return w, err
	}
	if w.naming, err = theory.ParseNaming(o.names); err != nil {
		return w, usage(fmt.Errorf("--names: %w", err))
	}
	if _, err := theory.NewTuning(o.a4); err != nil {
		return w, usage(fmt.Errorf("--a4: %w", err))
	}
	w.words = e.style(w.naming)
	w.words.Numbers = o.chords == "numbers"
	for _, word := range []struct {
		flag, value string
		of          []string
	}{
		{"home", o.home, homes}, {"line", o.line, []string{lineBass, lineTune}}, {"by", o.by, []string{bySinging, byPlaying}},
		{"chords", o.chords, chordsNamed},
	} {
		if !slices.Contains(word.of, word.value) {
			return w, usagef("--%s: %q: want %s", word.flag, short(word.value), strings.Join(word.of, " or "))
		}
	}
	changed := o.cmd.Flags().Changed
	switch {
	case o.home == homeKey && w.key == nil:
		return w, usagef("--home key: which one? say it with --key, like --key Bb")
	case changed("tempo") && !(o.tempo >= takedown.MinTempo && o.tempo <= takedown.MaxTempo):
		return w, usagef("--tempo: %g is out of range: want %g to %g beats a minute", o.tempo, takedown.MinTempo, takedown.MaxTempo)
	case changed("tempo") && o.beats != "":
		return w, usagef("--tempo and --beats exclude each other")
	case changed("first-beat") && !changed("tempo"):
		return w, usagef("--first-beat: it needs --tempo")
	case changed("first-beat") && !(o.firstBeat >= 0):
		return w, usagef("--first-beat: %g: want seconds from the start of the recording", o.firstBeat)
	case !(o.loudness >= drill.MinLoudness && o.loudness <= drill.MaxLoudness):
		return w, usagef("--loudness: %g is out of range: want %g to %g", o.loudness, drill.MinLoudness, drill.MaxLoudness)
	}
	return w, o.target()
}

// readMode reads --mode, which --key may say already.
func (o *followOptions) readMode(key *theory.Key) (*theory.Mode, error) {
	var m theory.Mode
	switch strings.ToLower(o.mode) {
	case "":
		if key != nil {
			return &key.Mode, nil
		}
		return nil, nil
	case "major":
		m = theory.Major
	case "minor":
		m = theory.Minor
	default:
		return nil, usagef("--mode: %q: want major or minor", short(o.mode))
	}
	if key != nil && key.Mode != m {
		return nil, usagef("--mode %s: --key says %s", m, key.ASCII())
	}
	return &m, nil
}

// target reads --to, or the ending of --out.
func (o *followOptions) target() error {
	if !o.cmd.Flags().Changed("to") && o.out != "" {
		if f, ok := notation.ByName(o.out); ok && slices.Contains(followed, f.String()) {
			o.to = f.String()
		}
	}
	switch {
	case !slices.Contains(followed, o.to):
		return usagef("--to: %q: want %s", short(o.to), strings.Join(followed, " or "))
	case o.cmd.Flags().Changed("to") && o.format.value != "text" && o.out == "":
		return usagef("--to %s and --format %s would both go to standard output: say with --out FILE where the chart goes", o.to, o.format.value)
	}
	return nil
}

// run takes a song down, or reads a chart.
func (o *followOptions) run(ctx context.Context, e *env, args []string) error {
	if len(args) > 1 {
		return usagef("%d arguments given, want at most one: a recording or a chart", len(args))
	}
	w, err := o.check(e)
	if err != nil {
		return err
	}
	if len(args) == 0 && len(o.input) == 1 && o.input[0] != inputMic && o.input[0] != inputSimulated {
		args = o.input // a recording
		o.input = nil
	}
	if len(o.input) > 1 || len(args) == 1 && len(o.input) > 0 {
		return usagef("--input: want mic, simulated or one recording")
	}
	if o.out != "" && o.out != "-" {
		if err := newfile.Check(o.out, o.force); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	if len(args) == 0 {
		return o.live(ctx, e, w)
	}
	m, err := e.openMelody(args, ".txt")
	if err != nil {
		return err
	}
	defer m.close()
	if m.in == nil {
		return fmt.Errorf("there is no file %s: want a recording or a chart", short(args[0]))
	}
	recorded, err := m.recorded()
	switch {
	case err != nil:
		return err
	case !recorded:
		return o.chart(e, m, w)
	}
	if err := o.forTake(e, &w, m.path == "-"); err != nil {
		return err
	}
	src, err := o.rec.of(m.path, m.in)
	if err != nil {
		return err
	}
	defer src.Close()
	p, err := listen.Song(ctx, src, w.hearing, o.deep(), nil)
	if err != nil {
		return err
	}
	o.rec.warn(e, m.path, src)
	title := strings.TrimSuffix(filepath.Base(m.path), filepath.Ext(m.path))
	if m.path == "-" {
		title = ""
	}
	return o.finish(e, w, p, taking{title: title, beats: w.beats})
}

// forTake reads what only a recording, or a singer, needs: --beats and --profile.
func (o *followOptions) forTake(e *env, w *following, stdin bool) (err error) {
	if o.beats != "" {
		if o.beats == "-" && stdin {
			return usagef("--beats: standard input is the recording already")
		}
		text, err := e.readUpTo(o.beats, takedown.MaxChart, "the times of beats, one a line")
		if err != nil {
			return fmt.Errorf("--beats: %w", err)
		}
		b, err := takedown.ParseBeats(string(text), w.meter)
		if err != nil {
			return fmt.Errorf("--beats: %s: %w", short(o.beats), err)
		}
		w.beats = &b
	}
	w.hearing, err = o.singer.named(e)
	if o.by == byPlaying {
		w.hearing.Low, w.hearing.High = 0, 0 // the range is that of the voice
	}
	return err
}

// deep tells whether it is heard an octave lower than any voice.
func (o *followOptions) deep() bool { return o.by == byPlaying && o.line == lineBass }

// taking is what is known besides of how a take came about.
type taking struct {
	title string
	beats *takedown.Beats // nil: by --tempo, or none
	until float64         // when the note that is home had ended, in seconds; 0: it is the first held one
	from  float64         // when home was confirmed
}

// finish makes the chart of a take and writes everything.
func (o *followOptions) finish(e *env, w following, p grade.Performance, how taking) error {
	h := words.Heard{By: o.home, A4: o.a4, Names: w.naming}
	options := takedown.Options{A4: o.a4, Mode: w.mode, Key: w.key, Played: o.by == byPlaying, Profile: theory.Profiles()[0], From: how.from}
	var err error
	switch o.home {
	case homeKey:
		options.Home, err = takedown.OfKey(p, *w.key, o.a4)
	case homeFind:
		options.Home, h.Keys, h.Agree, err = takedown.Find(p, w.mode, o.a4, options.Profile)
		if err == nil && options.Key == nil {
			options.Key = &h.Keys[0].Key
		}
	default:
		options.Home, err = takedown.FirstHeld(p, how.until)
		options.From = max(options.From, options.Home.Offset)
	}
	if errors.Is(err, takedown.ErrNoHome) {
		return fmt.Errorf("%w: sing do before the song and hold it for a second, or say --home find or --home key", err)
	}
	if err != nil {
		return err
	}
	if h.Taken, err = takedown.Read(p, options); err != nil {
		return fmt.Errorf("%w after home", err)
	}
	beats := how.beats
	if beats == nil && o.tempo > 0 {
		first, last := o.firstBeat, h.Taken.Notes[len(h.Taken.Notes)-1].Offset
		if !o.cmd.Flags().Changed("first-beat") {
			first = max(0, h.Taken.Notes[0].Onset-usualDelay)
		}
		b := takedown.Steady(w.meter, o.tempo, first, last)
		beats = &b
	}
	note, _ := h.Note()
	octave := note.Octave
	if o.line == lineBass {
		octave -= takedown.OctavesAbove(h.Taken, note)
	}
	h.Laid = h.Taken.Line(beats, how.title, octave)
	h.Laid.Tune = o.line == lineTune
	if !h.Laid.Tune {
		h.Style = &w.style
		if h.Laid.Chart, err = h.Laid.Offer(w.style); err != nil {
			return err
		}
	}
	for _, line := range h.Findings(w.words) {
		fmt.Fprintln(e.stderr, line)
	}
	if beats == nil {
		fmt.Fprintln(e.stderr, "Without a beat there are no bars: see --tempo and --beats.")
	}
	switch o.format.value {
	case "json":
		err = e.printJSON(h.Record())
	case "csv":
		err = h.WriteCSV(e.stdout)
	}
	if err != nil || o.format.value != "text" && o.out == "" {
		return err
	}
	return o.write(e, w, h.Laid.Chart, h.Alternatives(w.words, o.called(w)))
}

// usualDelay is how far before the first note its beat is taken to be, in seconds,
// where nobody says.
const usualDelay = 0.05

// called is what chords are called.
func (o *followOptions) called(w following) func(theory.Roman) string {
	if o.chords == "symbols" {
		return func(r theory.Roman) string { return w.words.Chord(r.Chord) }
	}
	return w.words.Roman
}

// chart reads a chart that was written before, and writes it anew.
func (o *followOptions) chart(e *env, m *melodyInput, w following) error {
	for _, flag := range []string{"key", "mode", "home", "line", "by", "tempo", "meter", "beats", "first-beat", "input", "keep", "profile", "a4"} {
		if o.cmd.Flags().Changed(flag) {
			return usagef("--%s: it is about what is sung, and %s is no recording", flag, short(m.name))
		}
	}
	if o.format.value != "text" {
		return usagef("--format %s: it is about what is sung; a chart has --to", o.format.value)
	}
	b, err := io.ReadAll(io.LimitReader(m.in, takedown.MaxChart+1))
	if err != nil {
		return fmt.Errorf("read %s: %w", m.name, err)
	}
	if !takedown.IsChart(string(b)) {
		return fmt.Errorf("%s is neither a recording nor a chart: a chart has a line like \"key: Bb major\" and notes behind \"bass |\"", short(m.name))
	}
	c, naming, err := takedown.ParseChart(string(b))
	if err != nil {
		return fmt.Errorf("%s: %w", short(m.name), err)
	}
	if !o.cmd.Flags().Changed("names") {
		w.naming, w.words.Names = naming, naming
	}
	if c.Chords == nil && !c.Tune {
		if c, err = c.Offer(w.style); err != nil {
			return err
		}
	}
	return o.write(e, w, c, "")
}

// write writes the chart, and remarks where it is text.
func (o *followOptions) write(e *env, w following, c takedown.Chart, remarks string) (err error) {
	if w.toKey != nil {
		if c, err = c.In(*w.toKey); err != nil {
			return usage(fmt.Errorf("--to-key: %w", err))
		}
		if o.chords == "symbols" {
			remarks = "" // they are of the key that was heard
		}
	}
	var b strings.Builder
	if o.to == "text" {
		text, err := c.Text(w.naming, o.called(w))
		if err != nil {
			return err
		}
		b.WriteString(text + remarks)
	} else {
		s, err := c.Score()
		if err != nil {
			return err
		}
		format := notation.ABC
		if o.to == "musicxml" {
			format = notation.MusicXML
		}
		if err := notation.Write(&b, s, format); err != nil {
			return err
		}
	}
	if o.out == "" {
		return e.print(b.String())
	}
	return e.writeFile(o.out, o.force, newfile.ForAll, func(f io.Writer) error {
		out := bufio.NewWriter(f)
		_, err := out.WriteString(b.String())
		return errors.Join(err, out.Flush())
	})
}
