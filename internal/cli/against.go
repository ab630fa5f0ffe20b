package cli

import (
	"fmt"
	"io"

	"singback/exercise/grade"
	"singback/internal/choir"
	"singback/internal/drill"
	"singback/internal/review"
	"singback/internal/session"
	"singback/theory"
)

// readAgainst reads the parts of files, of which one is sung and the others sound.
func (o *lineOptions) readAgainst(e *env, files []string) (own []theory.Score, err error) {
	if o.against != "others" {
		return nil, usagef("--against: %q: want others", short(o.against))
	}
	if o.part == "" {
		return nil, usagef("--against: say which part is yours: --part NAME")
	}
	if o.Music.Key != "" {
		return nil, usagef("--key: the parts of a file are in its key; --to-key moves them all")
	}
	for _, path := range files {
		c, err := readChoir(e, path, o.tune)
		if err != nil {
			return nil, err
		}
		mine, err := c.Find(o.part)
		if err != nil {
			return nil, usage(fmt.Errorf("--part: %s: %w", path, err))
		}
		if len(c.Parts) < 2 {
			return nil, usagef("--against: %s has one part: nothing else could sound", path)
		}
		if o.toKey != "" {
			if c, _, err = moveChoir(c, o.toKey); err != nil {
				return nil, err
			}
		}
		warnParts(e, path, c)
		own = append(own, c.Parts[mine].Score)
		o.Beside = append(o.Beside, c.Beside(mine))
		o.choirs = append(o.choirs, given{c, mine})
	}
	return own, nil
}

// performAgainst adds to a drill what is said of a part that is sung against others: a
// table behind the text, a record behind the record, and that a microphone must not hear
// them.
func (o *lineOptions) performAgainst(e *env, d *performance) {
	if o.choirs == nil {
		return
	}
	tuned := func(ev session.Event) (given, []choir.Tuned, int) {
		sung, ok := ev.(session.LineSung)
		if !ok || !sung.Counts() || sung.Index > len(o.choirs) {
			return given{}, nil, 0
		}
		g := o.choirs[sung.Index-1]
		return g, g.Tuned(g.part, sung.Tuning, sung.Model, sung.Sung, sung.Grade, true), sung.Index
	}
	inner := d.view
	d.view = func(r *drill.Run, results io.Writer, sits bool) func(session.Event) {
		show := inner(r, results, sits)
		return func(ev session.Event) {
			show(ev)
			if results == nil {
				return
			}
			if g, notes, index := tuned(ev); index > 0 {
				fmt.Fprintf(results, "\n%s", choir.Style{Style: d.style}.Tuned(g.Parts[g.part].Name, true, notes))
			}
		}
	}
	d.also = func(ev session.Event) any {
		g, notes, index := tuned(ev)
		if index == 0 {
			return nil
		}
		return choir.NewAgainstRecord(index, g.Parts[g.part].Name, notes)
	}
	d.ready = func(s *stage) error {
		if _, live := s.answers.(drill.Microphone); !live || !s.speaker || o.Headphones {
			return nil
		}
		if room := o.music.known.Room; room != nil && room.LeakTried && !room.Leaks {
			return nil
		}
		return usagef("--against: the microphone would hear the others: wear headphones and say --headphones, or measure that it does not hear them (singback calibrate)")
	}
}

// chorus is the choir that a model was taken from, and the tuning that it is written in.
type chorus struct {
	given
	tuning theory.Tuning
}

// among returns the choir of which the model is a part, by --part; nil where there is none.
func (g *grading) among(e *env, line grade.Line) *chorus {
	if g.part == "" || line.Performed {
		return nil
	}
	c, err := readChoir(e, g.model, g.tune)
	if err != nil || len(c.Parts) < 2 {
		return nil
	}
	tuning, err := g.music.readTuning()
	if err != nil {
		return nil
	}
	mine, err := c.Find(g.part)
	if err != nil || len(c.Chords(mine, tuning)) != len(line.Notes) {
		return nil
	}
	return &chorus{given{c, mine}, tuning}
}

// tuned is how the notes of a take lay in the chords of the others, from the singer's own
// key.
func (c *chorus) tuned(line grade.Line, t review.Take) []choir.Tuned {
	if c == nil {
		return nil
	}
	return c.Tuned(c.part, c.tuning, line, t.Performance, t.Grading, false)
}
