package tui

import (
	"fmt"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/drill"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// View is everything that the screen shows. The zero View is an empty screen.
type View struct {
	Style         report.Style
	Alert         string  // what must be known first, like what answers instead of a microphone
	Note          string  // lines that stay on the screen
	Width, Height int     // of the terminal, in cells
	Level         float64 // LUFS of playback, 0: not shown
	Offered       bool    // a second attempt is offered
	Paused        bool    // the drill waits until the singer has rested
	Ending        bool
	Typing        *Typing                                          // nil where nothing is typed
	Pause         string                                           // what is waited for, "" if nothing is
	Staff         func(s theory.Score, width, height int) []string // draws a melody; nil draws none

	key      theory.Key
	keySet   bool
	phase    string
	prompted *session.Prompted
	heard    session.Heard
	open     bool
	judged   *session.Judged
	guess    string // how the singer's guess was, "" without one
	last     string // the verdict before, while there is no newer one
	right    int
	answered int
	deaf     int          // readings of the level in a row without even noise
	standing string       // where the singer stands
	within   theory.Cents // tolerance of the question, 0 before the first
	before   theory.Cents // and of the one before
	rest     []string     // that the singer should rest now
	restFor  int          // for how many more questions that is shown

	number    int // of the question, where it is not in prompted
	of        int // how many there are, 0 where that is not known
	dictation *compose.Dictation
	step      int    // of a progression, as in session.DictationAsked
	by        string // how the dictation is answered, as in report.Style.Dictation
	named     *session.Named
	line      *theory.Score // the melody to be sung
	graded    *session.LineGraded
	playing   bool // what was sung is being played
	struck    *session.HandStruck
}

// Typing is a line that is being typed.
type Typing struct {
	Ask     string // what is asked for
	Text    string // what is there so far
	Problem string // why the last line was not taken
}

// The states of a drill, as the singer reads them.
const (
	phaseKey     = "listen: this is the key"
	phaseFrom    = "listen"
	phaseWait    = "hear it inside, do not sing yet"
	phaseSing    = "sing now, and hold"
	phaseCompare = "compare: this is the note"
	phaseOffer   = "once more?   r yes   space no"
	phaseGuess   = "what was it?   f flat   r right   s sharp   space no idea"
	noted        = "noted: told at the end"
	phaseHear    = "listen: what is it?"
	phaseTold    = "listen again: this was it"
	phaseRead    = "read it"
	phaseCount   = "the beat is counted: %d beats, then sing"
	phaseLine    = "sing now"
	phasePlay    = "play now"
	phasePause   = "rest now   Enter goes on"
	phaseEnding  = "ending ..."
)

// Event takes note of what happened.
func (v *View) Event(e session.Event) {
	switch e := e.(type) {
	case session.KeySet:
		v.key, v.keySet, v.phase = e.Key, true, phaseKey
		if v.line == nil || v.graded != nil {
			v.forget()
		}
	case session.Prompted:
		v.forget()
		v.prompted, v.phase = &e, phaseWait
		if e.Attempt <= 1 {
			v.before, v.within = v.within, e.Tolerance.Cents
		}
		if v.restFor--; v.restFor < 0 {
			v.rest = nil
		}
		if e.Item.From != nil {
			v.phase = phaseFrom
		}
	case session.DictationAsked:
		v.forget()
		v.dictation, v.by, v.number, v.of, v.phase = &e.Dictation, e.By(), e.Index, e.Of, phaseHear
		v.step = e.Step
	case session.Naming:
		v.phase = ""
	case session.Named:
		v.named, v.open, v.phase = &e, false, ""
		if !e.Hidden {
			v.phase = phaseTold
			last := "before: "
			if e.Step == 2 && v.last != "" { // the bass still helps
				last = v.last + "; "
			}
			v.last = last + v.Style.AnsweredHeadline(drill.Answered(e))
			for _, o := range e.Outcomes() {
				if o == exercise.RightAnswer || o == exercise.WrongAnswer {
					v.count(o.IsRight())
				}
			}
		}
	case *session.HandAsked, *session.HandStruck:
		v.hand(e)
	case session.LinePrompted:
		v.forget()
		v.number, v.of, v.line, v.phase = e.Index, e.Of, &e.Melody.Score, phaseRead
		v.key, v.keySet = e.Melody.Score.Key, true
	case session.CountIn:
		v.phase = fmt.Sprintf(phaseCount, e.Beats)
	case session.LineSung:
		v.open, v.phase = false, ""
	case session.LineGraded:
		e.Lines = slices.Clone(e.Lines)
		for i := range e.Lines {
			e.Lines[i] = plain.Shown(e.Lines[i])
		}
		v.graded, v.named, v.last = &e, nil, ""
		if !e.Hidden && len(e.Lines) > 0 {
			v.last = "before: " + e.Lines[0]
		}
	case session.Waiting, session.Modulating, session.Overheard:
		v.inner(e)
	case session.Listening:
		v.listen()
	case session.Heard:
		v.heard, v.open = e, true
		if v.deaf++; e.Level > exercise.Silence {
			v.deaf = 0
		}
	case session.Standing:
		v.standing = e.Text
	case session.Guessing:
		v.open, v.phase = false, phaseGuess
	case session.Gone:
		v.forget()
		v.phase = drill.Went(e)
	case session.Notice:
		v.Note = plain.Shown(e.Text)
	case session.Judged:
		v.judged, v.open, v.phase = &e, false, ""
		v.guess = report.Guessed(e.Guess, e.Verdict.Outcome)
		if e.Hidden {
			v.last = ""
			break
		}
		v.last = "before: " + v.Style.Headline(e.Item, e.Verdict)
		if e.Counts {
			v.count(e.Verdict.Outcome.IsRight())
		}
	case session.Rest:
		v.rest, v.restFor = report.Rest(e.Sung), 3
	case session.Sounding:
		v.phase = phaseCompare
	case session.Finished:
		v.open, v.phase = false, ""
	}
}

// listen takes note that something is listened for.
func (v *View) listen() {
	v.deaf = 0
	switch {
	case v.playing || v.dictation != nil && v.by == "play":
		v.phase = phasePlay
		return
	case v.line != nil || v.dictation != nil:
		v.phase = phaseLine
	default:
		v.phase = phaseSing
	}
	v.open, v.heard = true, session.Heard{Level: silent}
}

// inner takes note of what is heard inwardly, and of what sounds meanwhile.
func (v *View) inner(e session.Event) {
	switch e := e.(type) {
	case session.Waiting:
		if v.phase = phaseWait; e.Beats > 0 {
			v.phase = drill.Wait(e)
		} else if v.dictation != nil && v.by == "play" {
			v.phase = strings.Replace(phaseWait, "sing", "play", 1)
		}
	case session.Modulating:
		v.phase = "listen: " + drill.Leads(v.Style, &e)
	case session.Overheard:
		v.Note = drill.TooLoud(e)
	}
}

// hand takes in that something is to be played, and what was.
func (v *View) hand(e session.Event) {
	struck, done := e.(*session.HandStruck)
	if v.playing = !done; !done {
		return
	}
	v.struck, v.open, v.phase = struck, false, ""
	if !struck.Hidden {
		v.last += "; " + v.Style.HandHeadline(drill.Handed(struck))
	}
}

func (v *View) count(right bool) {
	v.answered++
	if right {
		v.right++
	}
}

// forget clears the question and what was said of its answer.
func (v *View) forget() {
	v.prompted, v.judged, v.open = nil, nil, false
	v.dictation, v.named, v.line, v.graded = nil, nil, nil, nil
	v.playing, v.struck = false, nil
}
