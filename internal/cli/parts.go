package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/choir"
	"singback/internal/drill"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// practiceRate is the sample rate of practice files in hertz: ten partials of the
// highest choral note, A5, lie below the edge of its band.
const practiceRate = 24000

// plays are what --play may be.
var plays = map[string]choir.Hear{"all": choir.All, "mine": choir.Mine, "others": choir.Others}

// partsOptions are the flags of parts.
type partsOptions struct {
	part, toKey string
	tune        string
	play        string
	louder      float64
	tempo       float64
	accompaniment
	out      string
	loudness float64
	plays    string // --instrument
	heard    string // --sound
	names    string
	sung     bool             // --sound voice
	naming   theory.Naming    // of names
	played   synth.Instrument // of that name
	music    music
	soundFlags
	format *format
	cmd    *cobra.Command
}

func newParts(e *env) *cobra.Command {
	o := partsOptions{format: newFormat("text", "json", "csv")}
	cmd := &cobra.Command{
		Use:   "parts FILE",
		Short: "A hymn or song in parts: ranges, key, listening, practice files",
		Long: `Parts reads music in several parts (ABC voices, MusicXML, MXL, MIDI tracks) and
says for each its range and median, what lies outside the usual range of its
voice, and which key suits the whole choir. Voices that share a staff, and the
notes of chords, are parts of their own; standard error says what was done.

--play lets it sound, through the loudspeaker or into --output FILE.wav: all,
mine (--part, the others softer by --louder), or others (all but --part). Each
part keeps its pitch and its level; --count-in, --click, --tempo and --tuning as in
singback melody. --sound voice has voices sing the parts, on syllables.

--out writes practice files into a folder that holds all of them or none: the
whole and each part as MusicXML and ABC with words and chord symbols, a picture
of each, its sound louder than the others, alone, and all but it, and a page,
index.html, that lists them.

--to-key moves all parts by the same interval: a key, best (the key that is
advised), or semitones.

To sing a part against the others: singback series FILE --part NAME --against
others. A take of a part is graded by singback grade --model FILE --part NAME.`,
		Example: `  singback parts choir.abc
  singback parts choir.abc --to-key best --format json
  singback parts choir.abc --play mine --part alto --count-in --output alto.wav
  singback parts choir.abc --to-key F --out practice`,
		Args: oneArg("a FILE of music in parts"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.cmd = cmd
			return o.run(e, args[0])
		},
	}
	f := cmd.Flags()
	addPart(cmd, &o.tune, &o.part)
	f.StringVar(&o.play, "play", "", "`WHAT` sounds: all, mine (--part, the others softer), others (all but --part)")
	f.Float64Var(&o.louder, "louder", 6, "how many `DECIBELS` my part is louder than the others, 1 to 30")
	f.StringVar(&o.toKey, "to-key", "", "move it to this `KEY` of the same mode; or best, or semitones like -2 or +3")
	f.Float64Var(&o.tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else the music's)")
	o.accompaniment.add(cmd)
	addOut(cmd, &o.out, &o.force, "FOLDER", ", a folder of practice files for each part")
	addFormat(cmd, o.format)
	o.music.cmd = cmd
	o.soundFlags.addSounding(cmd)
	f.Float64Var(&o.music.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&o.music.Tuning, "tuning", theory.Equal.String(), drill.TuningHelp)
	drill.AddLoudness(f, &o.loudness)
	drill.AddInstrument(f, &o.plays, synth.Organ)
	drill.AddSound(f, &o.heard)
	f.StringVar(&o.names, "names", theory.Movable.String(), drill.NamesHelp()+"; with --sound voice they are sung")
	complete(cmd, map[string][]string{"tuning": tuningWordList, "play": {"all", "mine", "others"}, "instrument": synth.InstrumentNames(), "sound": soundWords, "names": namingNames(), "to-key": append(keyNames(false), "best")})
	return cmd
}

func (o *partsOptions) run(e *env, path string) error {
	tuning, err := o.check()
	if err != nil {
		return err
	}
	c, err := readChoir(e, path, o.tune)
	if err != nil {
		return err
	}
	mine := -1
	if o.part != "" {
		if mine, err = c.Find(o.part); err != nil {
			return usage(fmt.Errorf("--part: %w", err))
		}
	}
	moved := 0
	if o.toKey != "" {
		if c, moved, err = moveChoir(c, o.toKey); err != nil {
			return err
		}
	}
	warnParts(e, path, c)
	score := c.Parts[0].Score
	sound := choir.Sound{
		SampleRate: practiceRate, Level: o.loudness, Instrument: o.played, Tuning: tuning, Sung: o.sung, Names: o.naming,
		Count: o.count, Counting: o.counting, Click: o.click,
		Quarter: 60 / cmp.Or(o.tempo, score.Tempo, usualTempo) / session.BeatOf(score),
	}
	if seconds := c.Seconds(sound.Quarter); (o.out != "" || o.play != "") && seconds > longestGuide {
		return usagef("--tempo: it lasts %.0f s at that tempo: want at most %d s", seconds, longestGuide)
	}
	switch {
	case o.out != "":
		return o.write(e, c, sound)
	case o.play != "":
		return o.sound(e, c, sound, mine)
	case o.format.value == "json":
		return e.printIndented(choir.NewRecord(path, c, moved))
	case o.format.value == "csv":
		return choir.NewRecord(path, c, moved).CSV(e.stdout)
	}
	return e.print(choir.Style{Style: e.style(theory.Movable)}.Choir(c))
}

// check finds mistakes in the flags.
func (o *partsOptions) check() (theory.Tuning, error) {
	tuning, err := o.music.readTuning()
	if err != nil {
		return tuning, err
	}
	if o.played, err = drill.ReadInstrument(o.plays); err != nil {
		return tuning, err
	}
	if o.sung, err = drill.CheckSound(o.heard); err != nil {
		return tuning, err
	}
	if o.naming, err = theory.ParseNaming(o.names); err != nil {
		return tuning, usage(fmt.Errorf("--names: %w", err))
	}
	if err := o.accompaniment.read(); err != nil {
		return tuning, err
	}
	_, known := plays[o.play]
	said := o.cmd.Flags().Changed
	switch {
	case o.play != "" && !known:
		err = usagef("--play: %q: want all, mine or others", short(o.play))
	case o.play != "" && o.out != "":
		err = usagef("--play and --out exclude each other: the folder has all that can sound")
	case o.play == "" && (o.output != "" || o.outputDevice != ""):
		err = usagef("--output: say what sounds: --play all, mine or others")
	case (o.play == "mine" || o.play == "others") && o.part == "":
		err = usagef("--play %s: say which part is yours: --part NAME", o.play)
	case o.play == "" && o.out == "" && o.part != "":
		err = usagef("--part: it is about what sounds: say --play mine or --play others")
	case o.out != "" && o.part != "":
		err = usagef("--part: --out writes files for every part")
	case !(o.louder >= 1 && o.louder <= 30):
		err = usagef("--louder: %g dB is out of range: want 1 to 30", o.louder)
	case said("louder") && o.play != "mine" && o.out == "":
		err = usagef("--louder: it is about --play mine, and about --out")
	case o.tempo != 0 && !(o.tempo >= 30 && o.tempo <= 200):
		err = usagef("--tempo: %g is out of range: want 30 to 200", o.tempo)
	case (o.out != "" || o.play != "") && said("format"):
		err = usagef("--format: it is about the list of parts, and %s writes none", map[bool]string{true: "--out", false: "--play"}[o.out != ""])
	default:
		err = cmp.Or(drill.CheckLoudness(o.loudness), o.soundFlags.check(""))
	}
	if err != nil || o.out != "" || o.play != "" {
		return tuning, err
	}
	for _, flag := range []string{"tempo", "count-in", "click", "a4", "tuning", "loudness", "instrument", "sound", "names"} {
		if said(flag) {
			return tuning, usagef("--%s is about how it sounds: say --play or --out", flag)
		}
	}
	return tuning, nil
}

// readChoir reads the parts of a file.
func readChoir(e *env, path, tune string) (choir.Choir, error) {
	in, name, err := e.open(path)
	if err != nil {
		return choir.Choir{}, err
	}
	defer in.Close()
	parts, warnings, err := notation.ReadParts(name, in, notation.Options{Tune: tune, Octave: middleOctave})
	if err != nil {
		return choir.Choir{}, err
	}
	c, err := choir.New(parts)
	for i, w := range warnings {
		c.Said = slices.Insert(c.Said, i, string(w))
	}
	return c, err
}

// warnParts says on standard error what was done to the parts of a file.
func warnParts(e *env, path string, c choir.Choir) {
	for _, line := range c.Said {
		fmt.Fprintf(e.stderr, "%s: %s\n", path, line)
	}
	said := map[string]bool{}
	for _, p := range c.Parts {
		for _, w := range p.Warnings {
			if !said[string(w)] {
				said[string(w)] = true
				fmt.Fprintf(e.stderr, "%s, %s: %s\n", path, p.Name, w)
			}
		}
	}
}

// moveChoir moves all parts as --to-key says, by so many semitones.
func moveChoir(c choir.Choir, to string) (moved choir.Choir, semitones int, err error) {
	to = strings.TrimSpace(to)
	n, err := strconv.Atoi(to)
	switch {
	case err == nil && (n < -24 || n > 24):
		return c, 0, usagef("--to-key: %d semitones are out of range: want -24 to 24", n)
	case err == nil:
		moved, err = c.MovedBy(n)
	case strings.EqualFold(to, "best"):
		moves, best := c.Moves()
		moved, err = c.MovedBy(moves[best].Semitones)
	default:
		var k theory.Key
		if k, err = theory.ParseModalKey(to); err != nil {
			return c, 0, usage(fmt.Errorf("--to-key: %w; or best, or semitones like -2", err))
		}
		moved, err = c.In(k)
	}
	if err != nil {
		return c, 0, usage(fmt.Errorf("--to-key: %w", err))
	}
	for _, p := range moved.Parts {
		if text := notation.Unmoved(p.Score); text != "" {
			moved.Said = append(slices.Clone(moved.Said), text)
			break
		}
	}
	return moved, moved.Parts[0].Reach.Low.MIDI() - c.Parts[0].Reach.Low.MIDI(), nil
}

// sound plays the parts, or writes them as sound.
func (o *partsOptions) sound(e *env, c choir.Choir, sound choir.Sound, mine int) error {
	ctx, stop := e.interruptible(o.cmd.Context())
	defer stop()
	var s stage
	defer s.close()
	where := stageOptions{soundFlags: o.soundFlags}
	if where.output == "" {
		where.output = outputSpeaker
	}
	if err := where.openOutput(ctx, e, &s, "", nil); err != nil {
		return err
	}
	sound.SampleRate = s.out.SampleRate()
	samples := c.Samples(sound, plays[o.play].Gains(len(c.Parts), mine, o.louder))
	return o.playSamples(ctx, &s, samples)
}

func (o *partsOptions) playSamples(ctx context.Context, s *stage, samples []float64) error {
	if err := s.out.Write(ctx, samples); err != nil {
		return err
	}
	return errors.Join(s.out.Drain(ctx), s.close())
}

// write writes the practice files.
func (o *partsOptions) write(e *env, c choir.Choir, sound choir.Sound) error {
	files := c.Practice(sound, o.louder)
	err := newfile.WriteFolder(o.out, len(files), func(i int) string { return files[i].Name }, o.force, newfile.ForAll,
		func(i int, w io.Writer) error { return files[i].Write(w) })
	if err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	fmt.Fprintf(e.stderr, "%s for %s in %s: begin with index.html\n", many(len(files), "file"), many(len(c.Parts), "part"), o.out)
	return nil
}
