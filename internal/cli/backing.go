package cli

import (
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

// add defines --count-in, which alone means by clicks, and --click.
func (a *accompaniment) add(cmd *cobra.Command) {
	f := cmd.Flags()
	drill.AddCountIn(f, &a.countIn, "none")
	f.Lookup("count-in").NoOptDefVal = "click"
	f.BoolVar(&a.click, "click", false, "the beat goes on clicking while you sing")
	complete(cmd, map[string][]string{"count-in": drill.CountIns})
}

// addBacking defines --backing.
func (a *accompaniment) addBacking(cmd *cobra.Command) {
	cmd.Flags().StringVar(&a.backing, "backing", "", drill.BackingHelp())
	complete(cmd, map[string][]string{"backing": synth.GrooveNames()})
}

// read reads them.
func (a *accompaniment) read() (err error) {
	a.counting, a.count, err = drill.ReadCountIn(a.countIn)
	return err
}

// guide is a line as a guide track has it, but for the keyboard.
func (a *accompaniment) guide(score theory.Score, tuning theory.Tuning, quarter float64) (*session.Accompanied, error) {
	if err := a.read(); err != nil {
		return nil, err
	}
	g := &session.Accompanied{
		Score: score, Tuning: tuning, Quarter: quarter, Count: a.count, Counting: a.counting, Click: a.click, Plays: true,
	}
	if a.backing == "" {
		return g, nil
	}
	groove, err := drill.GrooveFor(a.backing, score)
	if err != nil {
		return nil, err
	}
	if groove.Swing {
		g.Score = score.Swung()
	}
	g.Band = &session.Band{Groove: groove, Chords: compose.Accompany(score, 0)}
	return g, nil
}
