package cli

import (
	"cmp"
	"slices"

	"github.com/spf13/cobra"

	"singback/exercise/compose"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// accompaniment holds the flags about what keeps the time of what sounds.
type accompaniment struct {
	countIn  string
	click    bool
	backing  string
	count    bool             // as countIn says
	counting session.Counting // as it says
}

// add defines --count-in and --click.
func (a *accompaniment) add(cmd *cobra.Command) {
	a.addCountIn(cmd)
	cmd.Flags().BoolVar(&a.click, "click", false, "the beat goes on clicking while you sing")
}

// addCountIn defines --count-in, which by itself means clicks.
func (a *accompaniment) addCountIn(cmd *cobra.Command) {
	f := cmd.Flags()
	drill.AddCountIn(f, &a.countIn, "none")
	f.Lookup("count-in").NoOptDefVal = "click"
	complete(cmd, map[string][]string{"count-in": drill.CountIns})
}

// addBacking defines --backing.
func (a *accompaniment) addBacking(cmd *cobra.Command) {
	cmd.Flags().StringVar(&a.backing, "backing", "", drill.BackingHelp())
	complete(cmd, map[string][]string{"backing": synth.GrooveNames()})
}

// read reads them. What stands behind a bare --count-in is no value of it.
func (a *accompaniment) read(args ...string) (err error) {
	for _, word := range args {
		if slices.Contains(drill.CountIns, word) {
			return usagef("--count-in: write --count-in=%s, with a sign between", word)
		}
	}
	a.counting, a.count, err = drill.ReadCountIn(a.countIn)
	return err
}

// longestBand bounds what a band plays, in seconds: all of it is weighed before it sounds.
const longestBand = 600

// guide is a line as a guide track has it, but for the keyboard.
func (a *accompaniment) guide(score theory.Score, tuning theory.Tuning, quarter float64) (*session.Accompanied, error) {
	g := &session.Accompanied{
		Score: &score, Tuning: tuning, Quarter: quarter, Count: a.count, Counting: a.counting, Click: a.click, Plays: true,
	}
	if a.backing == "" {
		return g, nil
	}
	if seconds := score.Length().Float() * quarter; seconds > longestBand {
		return nil, usagef("--backing: it lasts %.0f s at that tempo: want at most %d s", seconds, longestBand)
	}
	groove, err := drill.GrooveFor(a.backing, &score)
	if err != nil {
		return nil, err
	}
	g.Band = &session.Band{Groove: groove, Chords: compose.Accompany(&score, 0)}
	if groove.Swing {
		swung := score.Swung()
		g.Score = &swung
	}
	return g, nil
}

// checkBand checks the flags about the band of a progression.
func (h *harmony) checkBand(args ...string) error {
	if err := h.band.read(args...); err != nil {
		return err
	}
	if h.band.backing == "" {
		for _, flag := range []string{"tempo", "count-in"} {
			if h.cmd.Flags().Changed(flag) {
				return usagef("--%s: it is about a band: give --backing", flag)
			}
		}
		return nil
	}
	switch _, err := drill.ReadGroove(h.band.backing); {
	case err != nil:
		return err
	case h.output == "" && h.outputDevice == "":
		return usagef("--backing is about how it sounds: say where with --output")
	case h.tempo != 0 && !(h.tempo >= 30 && h.tempo <= 200):
		return usagef("--tempo: %g is out of range: want 30 to 200", h.tempo)
	}
	return nil
}

// bandOf is the sound of a band that plays chords, a bar each.
func (h *harmony) bandOf(k synth.Keyboard, chords [][]theory.Pitch, key theory.Key, tuning theory.Tuning) []float64 {
	groove, err := drill.ReadGroove(h.band.backing)
	if err != nil { // checkBand has read it
		panic(err)
	}
	a := session.Accompanied{
		Keyboard: k, Tuning: tuning, Count: h.band.count, Counting: h.band.counting, Band: &session.Band{Groove: groove},
		Quarter: 60 / cmp.Or(h.tempo, groove.Tempo) / groove.Meter.Pulse().Float(),
		Score: &theory.Score{
			Key: key, Meter: groove.Meter,
			Notes: []theory.Written{{Rest: true, Length: groove.Meter.Bar().Times(theory.NewFraction(len(chords), 1))}},
		},
	}
	for i, tones := range chords {
		a.Band.Ready = append(a.Band.Ready, synth.Changed{At: float64(i * groove.Beats()), Tones: tones})
	}
	return a.Samples()
}
