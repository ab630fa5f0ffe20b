package engine

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"sync"
	"time"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
)

// desk is where questions to the singer lie until they are answered. One lies there at
// a time.
type desk struct {
	mu   sync.Mutex
	last int
	open int // the question that waits, 0 without one
	said chan string
}

// answered hands in an answer; one to a question that is over is nobody's.
func (d *desk) answered(id int, value json.RawMessage) {
	text := ""
	var truth bool
	switch {
	case json.Unmarshal(value, &text) == nil:
	case json.Unmarshal(value, &truth) == nil && truth:
		text = "yes"
	case json.Unmarshal(value, &truth) == nil:
		text = "no"
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if id == 0 || id != d.open {
		return
	}
	select {
	case d.said <- text:
	default: // one answer is there already
	}
}

// put lays a question down.
func (d *desk) put() (id int, said <-chan string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.last++
	d.open, d.said = d.last, make(chan string, 1)
	return d.open, d.said
}

func (d *desk) take() {
	d.mu.Lock()
	d.open = 0
	d.mu.Unlock()
}

// errLate ends a question that nobody has answered in its time.
var errLate = errors.New("nobody answered")

// ask asks the singer, until check takes the answer, or until the time of the question
// is over. Check may be nil.
func (e *Engine) ask(ctx context.Context, m askMessage, check func(string) error) (string, error) {
	id, said := e.desk.put()
	defer e.desk.take()
	m.Is, m.ID = "ask", id
	if m.Choices == nil {
		m.Choices = []choice{}
	}
	e.post(m)
	defer e.post(askedMessage{"asked", id})
	if m.bySong {
		defer e.await(ctx, func() { e.desk.answered(id, json.RawMessage(`""`)) })()
	}
	var late <-chan time.Time
	if m.Seconds > 0 {
		timer := time.NewTimer(time.Duration(m.Seconds * float64(time.Second)))
		defer timer.Stop()
		late = timer.C
	}
	for {
		select {
		case text := <-said:
			if check != nil {
				if err := check(text); err != nil {
					e.post(problemMessage{"problem", id, err.Error()})
					continue
				}
			}
			return text, nil
		case <-late:
			return "", errLate
		case <-ctx.Done():
			return "", ctx.Err()
		}
	}
}

// person is whoever sits before the page.
type person struct{ *Engine }

var _ drill.Person = person{}

// The choices that several questions have.
var goOn = choice{"", "Go on", "Enter"}

// Retry offers a second attempt, for a while: hands are at the keyboard.
func (p person) Retry(ctx context.Context, _ session.Judged) (bool, error) {
	text, err := p.ask(ctx, askMessage{
		What: "retry", Text: "Once more?", Seconds: retrySeconds,
		Choices: []choice{{"yes", "Once more", "r"}, {"no", "Next", "Enter"}},
	}, nil)
	return text == "yes", late(err)
}

// How long questions wait that go on by themselves, in seconds.
const (
	retrySeconds = 6
	guessSeconds = 8
	sungSeconds  = 20
)

// late makes an answer of none.
func late(err error) error {
	if errors.Is(err, errLate) {
		return nil
	}
	return err
}

// Guess asks whether the answer was flat, sharp or in tune.
func (p person) Guess(ctx context.Context) (exercise.Outcome, error) {
	text, err := p.ask(ctx, askMessage{
		What: "guess", Text: "What was it?", Seconds: guessSeconds,
		Choices: []choice{{"flat", "Flat", "f"}, {"right", "Right", "r"}, {"sharp", "Sharp", "s"}, {"", "No idea", "Enter"}},
	}, nil)
	return map[string]exercise.Outcome{"flat": exercise.Flat, "right": exercise.InTune, "sharp": exercise.Sharp}[text], late(err)
}

// Type asks for names.
func (p person) Type(ctx context.Context, wanted drill.Wanted, check func(string) error) (string, error) {
	p.state("name")
	return p.ask(ctx, askMessage{
		What: "name", Text: "Name " + wanted.Text + ".", Words: wanted.Words, Count: wanted.Count,
		Choices: []choice{{"", "Hear it again", "h"}, {drill.GiveUp, "Give up", "g"}},
	}, check)
}

// Study gives the time to read a line.
func (p person) Study(ctx context.Context, seconds float64) error {
	p.state("read")
	_, err := p.ask(ctx, askMessage{
		What: "study", Text: "Read it in silence.", Seconds: max(seconds, 0.1), Choices: []choice{{"", "Begin now", "Enter"}},
	}, nil)
	return late(err)
}

// Explained waits until an explanation was read.
func (p person) Explained(ctx context.Context) error {
	_, err := p.ask(ctx, askMessage{What: "told", Text: "Read it, then go on.", Choices: []choice{goOn}}, nil)
	return err
}

// Sung asks how to go on after a line.
func (p person) Sung(ctx context.Context, s session.LineSung, weak bool) (drill.Way, error) {
	choices := []choice{goOn, {"again", "Again", "a"}}
	if weak {
		choices = append(choices, choice{"practise", "Practise the weakest interval", "p"})
	}
	if p.today() { // it is kept short: a line is one question of many
		if s.Hidden {
			return drill.GoOn, nil
		}
		choices = choices[:1]
	}
	text, err := p.ask(ctx, askMessage{What: "sung", Text: "How do you go on? (A note that you hold goes on, too.)", Seconds: sungSeconds, Choices: choices, bySong: true}, nil)
	return map[string]drill.Way{"again": drill.Again, "practise": drill.Practise}[text], late(err)
}

// Rest waits until the singer has rested.
func (p person) Rest(ctx context.Context) error {
	_, err := p.ask(ctx, askMessage{What: "rest", Text: strings.Join(report.Rest(p.sungFor()), " "), Choices: []choice{goOn}, bySong: true}, nil)
	return err
}
