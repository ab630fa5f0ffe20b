package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/choir"
	"singback/internal/drill"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/internal/tui"
	"singback/theory"
)

// lineOptions are the flags of series and echo.
type lineOptions struct {
	stageOptions
	drill.Series

	keep  string
	part  string
	tune  string
	toKey string

	against string
	choirs  []given // of the files, where a part is sung against the others
}

// given is a choir, and the part of it that is sung.
type given struct {
	choir.Choir
	part int
}

func newSeries(e *env) *cobra.Command {
	o := &lineOptions{}
	cmd := &cobra.Command{
		Use:   "series [FILE ... | RECORDING.wav ...]",
		Short: "Read melodies at sight and sing them: a scored series",
		Long: `Series shows a melody, gives you time to read it in silence, sets the key, counts
one bar in (two where a bar has at most two beats), and listens. It says after
you have sung which notes were right, how the rhythm was, and which interval was
weakest, and gives two marks: note by note, and points for whole bars.

With --free there is no count-in: sing in your own tempo, and the rhythm is
judged by your own beat. Feedback comes after singing; --cursor shows while you
sing which degree is heard, which makes it easier now and harder later without.

With --silent-bars you fall silent in some bars, hear them inwardly and sing on in the
right place: what is sung in them is not charged, and after each gap it says where
you came in, how far the key moved, and how late you were. --degrees scale, or a list
of degrees, is sung in place of a melody. --drone and --vamp sound while you sing:
use headphones (--headphones).

--count-in voice sings do on each beat of the count-in, none is --free; --click has
the beat go on. With --backing a band plays under you in a groove: bass, chords and
light percussion, on the chords of the file, of --vamp, or such as fit the melody. In
swing and gospel off-beats are sung late, two thirds into a beat. At a microphone that
wants headphones, which --headphones says you wear, or a room measured without leak.

Any octave counts, unless --strict-octave. The melodies are those of singback
melody: seven levels, in your range (--voice, or your profile). A FILE of music
(ABC, MusicXML, MXL, MIDI, names) is sung in their place, --part chooses its
voice or part, --to-key moves it, and --hear plays it first; it has no level and
is not recorded. What is a recording and what is music, a file itself says.

With --against others you sing --part of a FILE while its other parts sound (see
singback parts). Each note is then told twice: in cents from equal temperament,
and from the pure pitch in the chord that sounds. At a microphone that wants
headphones, which --headphones says you wear, or a room measured without leak.

In a terminal: Enter begins before the study time is over, and goes on to the
next melody; a sings it again, p practises the weakest interval, q ends.
Without a microphone a simulated singer answers; with recordings, the n-th
recording answers the n-th melody, from the count-in's end (0.15 s before the
first beat) on. With --format json standard output has one object a line.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback series --key Eb --level 3 --count 1 --seed 5 --input simulated
  singback series --level 2 --voice tenor --free --names none --count 1 --input simulated
  singback series --key G --level 1 --count 1 --seed 4 take.wav
  singback series hymn.abc --hear --input simulated --no-record
  singback series --degrees scale --key D --silent-bars 2 --input simulated
  singback series --level 2 --backing straight --count-in voice --count 1 --input simulated
  singback series choir.abc --part alto --against others --headphones --input simulated`,
	}
	o.addFlags(cmd, e)
	cmd.Flags().StringVar(&o.against, "against", "", "`WHAT` sounds while you sing: others, the other parts of the file (--part is yours)")
	complete(cmd, map[string][]string{"against": {"others"}})
	return cmd
}

func newEcho(e *env) *cobra.Command {
	o := &lineOptions{Series: drill.Series{Echo: true}}
	cmd := &cobra.Command{
		Use:   "echo [FILE ... | RECORDING.wav ...]",
		Short: "Hear a phrase and sing it back",
		Long: `Echo sets the key, plays a phrase of 2 to 7 notes, waits in silence for as long
as --gap says, and listens while you sing it back; then it says how each note
was. The longer the silence, the more you must keep in mind.

With --click or --backing it is call and response: a bar is counted in (--count-in
voice sings do on each beat), the phrase comes on its beat of the bar, and you sing it
back on the same one, as many bars later as it takes, --gap with them. --backing has a
band play meanwhile, its chords going on from phrase to phrase; see singback series.

Any octave and tempo counts (--strict-octave for the octave); the phrases are
taken from the melodies of --level, or cut one after the other from a FILE of
music (--part, --to-key; see singback series). In a terminal: Enter goes on, a plays it
again, p practises the weakest interval, q ends. Without a microphone a simulated
singer answers; with recordings, the n-th answers the n-th phrase. With --format
json standard output has one object a line.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback echo --key G --level 2 --notes 4 --count 1
  singback echo --level 6 --notes 7 --gap 5 --input simulated --count 1
  singback echo --level 2 --backing gospel --tempo 66 --headphones
  singback echo hymn.abc --notes 3 --input simulated --no-record`,
	}
	o.addFlags(cmd, e)
	return cmd
}

func (o *lineOptions) addFlags(cmd *cobra.Command, e *env) {
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) }
	o.addDrill(cmd, &o.Music, o)
	o.addSung(cmd)
	o.addKeys(cmd)
	cmd.ValidArgsFunction = nil
	addPart(cmd, &o.tune, &o.part)
	cmd.Flags().StringVar(&o.toKey, "to-key", "", "move it to this `KEY` of the same mode: a melody from a file")
	cmd.Flags().StringVar(&o.keep, "keep", "", "keep what was sung as WAV in this `FOLDER` (nothing is kept otherwise)")
	complete(cmd, map[string][]string{"count-in": drill.CountIns, "backing": synth.GrooveNames(), "key": keyNames(false), "to-key": keyNames(false), "level": {"1", "2", "3", "4", "5", "6", "7"}})
	must(cmd.MarkFlagDirname("keep"))
}

func (o *lineOptions) run(cmd *cobra.Command, e *env, args []string) error {
	files, args, err := sortMusic(args)
	if err != nil {
		return err
	}
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	o.Recordings, o.OwnProfile, o.Keyed = len(recordings), o.music.profile != "", o.keys != ""
	if o.Given, err = o.readGiven(e, files); err != nil {
		return err
	}
	plan, err := o.Plan()
	if err != nil {
		return err
	}
	for _, line := range o.Moved() {
		fmt.Fprintln(e.stderr, line)
	}
	if o.keep != "" {
		if err := os.MkdirAll(o.keep, 0o777); err != nil {
			return fmt.Errorf("--keep: %w", err)
		}
	}
	if o.against != "" {
		if o.Free {
			return usagef("--against: the others keep the time, and there is none with --free")
		}
	}
	d := &performance{
		plan: plan, kind: kind, recordings: recordings, start: e.clock(), style: e.style(plan.Naming), lined: true,
		view: func(r *drill.Run, results io.Writer, sits bool) func(session.Event) {
			v := &tui.Series{
				Run: r, Results: results, Prompts: e.stderr, Voice: o.Music.Voice, Width: e.width(e.stderr), Cursor: o.Cursor && sits,
			}
			return v.Event
		},
	}
	if o.keep != "" {
		d.save = func(sung session.LineSung) (string, error) { return o.save(plan.Seed, sung) }
	}
	o.performAgainst(e, d)
	d.sung = plan.Advice()
	if o.Click {
		d.sung = "Use headphones: the beat sounds while you sing."
	}
	return o.perform(cmd, e, d)
}

// sortMusic sorts files of music out of the arguments; the rest are recordings.
func sortMusic(args []string) (files, recordings []string, err error) {
	for _, path := range args {
		holds, err := holdsMusic(path)
		if err != nil {
			return nil, nil, err
		}
		if holds {
			files = append(files, path)
		} else {
			recordings = append(recordings, path)
		}
	}
	return files, recordings, nil
}

// holdsMusic tells whether a file holds music by what is in it, or, where it is in
// no format, by an ending of names; what ends like music and is not there is an error.
// Anything else is left to whoever reads recordings.
func holdsMusic(path string) (bool, error) {
	format, known := notation.ByName(path)
	f, err := os.Open(path)
	if err != nil {
		if known && path != "-" {
			return false, newfile.PathError(path, err)
		}
		return false, nil
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return false, nil
	}
	m := melodyInput{name: path, in: bufio.NewReader(f)}
	if recorded, err := m.recorded(); recorded || err != nil {
		return false, err
	}
	head, err := io.ReadAll(io.LimitReader(m.in, notation.MaxFile))
	if err != nil {
		return false, fmt.Errorf("read %s: %w", path, err)
	}
	return known && format == notation.Names || !notation.HoldsNames(path, head), nil
}

// readGiven reads the melodies of files, in the key asked for; nil without files.
func (o *lineOptions) readGiven(e *env, files []string) (given []theory.Score, err error) {
	if files == nil {
		for word, value := range map[string]string{"part": o.part, "tune": o.tune, "to-key": o.toKey, "against": o.against} {
			if value != "" {
				return nil, usagef("--%s: it is about a melody from a file: name a FILE of music", word)
			}
		}
		return nil, nil
	}
	if o.against != "" {
		return o.readAgainst(e, files)
	}
	options := notation.Options{Voice: o.part, Tune: o.tune, Octave: middleOctave}
	if o.Music.Names != "none" {
		if options.Naming, err = theory.ParseNaming(o.Music.Names); err != nil {
			return nil, usage(fmt.Errorf("--names: %w", err))
		}
	}
	if o.Music.Key != "" {
		if options.Key, err = theory.ParseModalKey(o.Music.Key); err != nil {
			return nil, usage(fmt.Errorf("--key: %w", err))
		}
		options.KeyAsked = true
	}
	to, err := toKey(o.toKey)
	if err != nil {
		return nil, err
	}
	for _, path := range files {
		f, err := os.Open(path)
		if err != nil {
			return nil, newfile.PathError(path, err)
		}
		score, warnings, err := notation.Read(path, f, options)
		f.Close()
		if err != nil {
			return nil, err
		}
		if score, err = e.moved(path, score, to, warnings); err != nil {
			return nil, err
		}
		given = append(given, score)
	}
	return given, nil
}

// save keeps what was sung as a recording.
func (o *lineOptions) save(seed uint64, sung session.LineSung) (string, error) {
	for n := 1; ; n++ {
		path := filepath.Join(o.keep, fmt.Sprintf("seed-%d-line-%d-%d.wav", seed, sung.Index, n))
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err == nil {
			err = errors.Join(audio.WriteWAV(f, sung.Take.SampleRate, sung.Samples), f.Close())
		}
		if err != nil {
			return "", fmt.Errorf("--keep: %w", err)
		}
		return path, nil
	}
}
