package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
)

// ScreenPerson is asked on the screen.
type ScreenPerson struct {
	Ask   Asker
	Again func(context.Context, session.Judged) (bool, error)
}

// Retry offers a second attempt.
func (p ScreenPerson) Retry(ctx context.Context, j session.Judged) (bool, error) {
	return p.Again(ctx, j)
}

// Guess asks for a guess.
func (p ScreenPerson) Guess(ctx context.Context) (exercise.Outcome, error) { return p.Ask.Guess(ctx) }

// Rest waits until the singer has rested.
func (p ScreenPerson) Rest(ctx context.Context) error { return p.Ask.Rest(ctx) }

// Type asks for words.
func (p ScreenPerson) Type(ctx context.Context, wanted drill.Wanted, check func(string) error) (string, error) {
	return p.Ask.Type(ctx, "type "+wanted.Text+", then Enter", check)
}

// Study gives the singer the time to read.
func (p ScreenPerson) Study(ctx context.Context, seconds float64) error {
	return p.Ask.Wait(ctx, fmt.Sprintf("read it in silence: %s; Enter begins", report.Many(seconds, "second")), seconds)
}

// Explained gives the listener the time to read an explanation.
func (p ScreenPerson) Explained(ctx context.Context) error {
	return p.Ask.Wait(ctx, "read it; Enter goes on", 120)
}

// Sung gives the singer the time to read how a line was.
func (p ScreenPerson) Sung(ctx context.Context, s session.LineSung, _ bool) (drill.Way, error) {
	if s.Hidden {
		return drill.GoOn, nil
	}
	return drill.GoOn, p.Ask.Wait(ctx, "Enter goes on", 20)
}

// LinePerson is asked in lines, where there is a terminal.
type LinePerson struct {
	drill.Nobody
	Prompts io.Writer
	Keys    *Keys // nil: standard input is a recording
	Sits    bool  // somebody sits at a terminal
	Live    bool  // somebody sings
	Asked   bool  // after each line how to go on
	Wait    func(ctx context.Context, d time.Duration) error
}

// Type asks for words.
func (p *LinePerson) Type(ctx context.Context, wanted drill.Wanted, check func(string) error) (string, error) {
	if p.Keys == nil {
		return "", drill.ErrEnough // nobody can answer
	}
	fmt.Fprintf(p.Prompts, "Type %s, then Enter. Empty: hear it again; %s: give up.\n", wanted.Text, drill.GiveUp)
	for {
		text, err := p.Keys.Line(ctx)
		if err != nil {
			return "", err
		}
		problem := check(text)
		if problem == nil {
			return text, nil
		}
		fmt.Fprintln(p.Prompts, problem)
	}
}

// Study gives the singer the time to read, which Enter ends.
func (p *LinePerson) Study(ctx context.Context, seconds float64) error {
	if !p.Sits {
		if !p.Live {
			return nil // nobody is reading
		}
		fmt.Fprintf(p.Prompts, "Read it: %s.\n", report.Many(seconds, "second"))
		return p.Wait(ctx, time.Duration(seconds*float64(time.Second)))
	}
	fmt.Fprintf(p.Prompts, "Read it: %s; Enter begins, q ends.\n", report.Many(seconds, "second"))
	late, stop := context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
	defer stop()
	for {
		key, err := p.Keys.Key(late)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			return nil
		case err != nil:
			return err
		case key == "q":
			return drill.ErrEnough
		case key == Enter:
			return nil
		}
	}
}

// Explained waits for Enter, where somebody sits there.
func (p *LinePerson) Explained(ctx context.Context) error {
	if !p.Sits {
		return nil
	}
	fmt.Fprintln(p.Prompts, "Enter goes on, q ends.")
	for {
		switch key, err := p.Keys.Key(ctx); {
		case err != nil:
			return err
		case key == "q":
			return drill.ErrEnough
		case key == Enter:
			return nil
		}
	}
}

// Sung asks how to go on after a line of a series.
func (p *LinePerson) Sung(ctx context.Context, _ session.LineSung, weak bool) (drill.Way, error) {
	if !p.Asked || !p.Sits {
		return drill.GoOn, nil
	}
	choices, keys := "Enter: go on, a: again, q: end", Enter+"aq"
	if weak {
		choices, keys = "Enter: go on, a: again, p: practise the weakest interval, q: end", Enter+"apq"
	}
	fmt.Fprintf(p.Prompts, "\n%s\n", choices)
	key, err := p.Keys.Key(ctx)
	for err == nil && !strings.Contains(keys, key) {
		key, err = p.Keys.Key(ctx)
	}
	switch {
	case err != nil:
		return drill.GoOn, err
	case key == "a":
		return drill.Again, nil
	case key == "q":
		return drill.GoOn, drill.ErrEnough
	case key == "p":
		return drill.Practise, nil
	}
	return drill.GoOn, nil
}
