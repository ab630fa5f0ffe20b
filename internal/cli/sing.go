package cli

import (
	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/report"
)

// singOptions are the flags of sing.
type singOptions struct {
	stageOptions
	drill.Sing
}

func newSing(e *env) *cobra.Command {
	o := &singOptions{}
	cmd := &cobra.Command{
		Use:   "sing [RECORDING.wav ...]",
		Short: "The drill: hear the key, sing the degree, hear how near you were",
		Long: `Sing sets a key in your ear, asks for a degree, gives you a moment to hear it
inwardly, listens, and says what you sang: the degree first, then how many
cents off, then how steady. Then it sounds the right note. Any octave counts
unless --strict-octave is given. The first answer to each question counts.

In a church mode, as in --key "D dorian", the key is set by its scale, or with
--set tonic or drone; there is no cadence in it.

With --from a degree is sounded first, and you sing from it to the one asked.

Inner hearing: --wait keeps you silent for some beats of --tempo between what you
hear and what you sing, and says how far do moved meanwhile; --modulate leads to
another key by a chord that both have, and you find the new do; --drone or --vamp
sounds while you sing. Use headphones with these two (--headphones). Without, what
the microphone hears of them is measured before you sing: where it is too loud
beside a voice it says so, and nothing is judged. --backing has a band play, on the
chords of --vamp or I vi IV V, and wants headphones, or a room measured without leak.

With a profile (see singback profile) the questions lie in your working range, in
the tuning of your instrument; the key is set in an octave where it does not sound
the note that is asked; the microphone is heard with your noise gate. Flags come
before the profile. --key best takes one of the keys that fit the voice: fewest
degrees moved by an octave, then most central; --seed draws among those within
two semitones of the most central one.

Without a microphone a simulated singer answers, to show how it goes. With
recordings, the n-th recording answers the n-th question.

With --then play you play each degree once you have sung it, in any octave: on a
MIDI keyboard, found by itself on Linux or named with --keys, or else on an
instrument that the microphone hears. The first key counts. Voice and hand are
judged apart. With recordings there are two for each question.

With --format json standard output has one object a line: the events key,
prompt, modulation, too_loud, listening, verdict, hand, struck and summary. The same seed gives the same questions,
and with recordings or the simulated singer the same bytes.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet: set your headphones, then raise --loudness if you must. This is no medical
advice; a voice teacher or clinician decides.`,
		Example: `  singback sing --key "Ab major" --degrees "do mi sol" --count 6
  singback sing --key f#m --from la --degrees "re mi" --count 4
  singback sing --wait 4 --tempo 72 --degrees "do sol" --count 4
  singback sing --modulate "V IV vi" --count 3
  singback sing --vamp "I IV" --headphones --count 4
  singback sing --backing ballad --vamp "I IV" --headphones --count 4
  singback sing --key Eb --degrees "do mi sol" --then play --input simulated
  singback sing --key C --degrees la --input take1.wav take2.wav --format json`,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd, e, args)
		},
	}
	o.addDrill(cmd, &o.Music, o)
	o.addSung(cmd)
	o.addKeys(cmd)
	oldName(cmd, "level", "loudness")
	complete(cmd, map[string][]string{"key": keyNames(true), "retry": retries})
	completed(cmd, "degrees", o.music.completeDegrees("all", "chromatic", "triad"))
	completed(cmd, "from", o.music.completeDegrees("any"))
	return cmd
}

func (o *singOptions) run(cmd *cobra.Command, e *env, args []string) error {
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	o.Manner.Keyed = o.keys != ""
	o.Recordings, o.OwnProfile = len(recordings), o.music.profile != ""
	plan, err := o.Plan()
	if err != nil {
		return err
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	d := &performance{
		plan: plan, kind: kind, recordings: recordings, style: style, start: e.clock(),
	}
	if note := style.TuningNote(o.Items(), o.Tolerance); note != "" {
		d.note = "Note: " + note + "."
	}
	d.sung = plan.Advice()
	return o.perform(cmd, e, d)
}
