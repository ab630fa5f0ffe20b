package engine

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/session"
)

// Host is what an engine runs in.
type Host interface {
	// Post sends a message to the page. Messages come from any goroutine, one at a
	// time, and arrive in their order. They are what package json makes of them.
	Post(message any)
	// Clock is the time of day, in the singer's zone.
	Clock() time.Time
	// Seed draws the number of a drill that names none.
	Seed() uint64
	// ID draws what no other session has.
	ID() [16]byte
}

// Engine runs the drills of one page, one at a time.
type Engine struct {
	Version string // of the program
	// Pace waits as long as a person takes; New has it wait so long.
	Pace func(ctx context.Context, d time.Duration) error

	host  hostInOrder
	store Store
	desk  desk
	keys  keyboard

	loudness  atomic.Int64 // hundredths of a LUFS
	enough    atomic.Bool  // the singer has played enough notes of the instrument
	measuring session.Part // of the calibration that runs; of its goroutine

	mu        sync.Mutex
	sound     Sound
	known     Known
	answers   []practice.Answer // of the singer; nil until they are needed
	read      bool              // answers are there
	skipped   int               // answers that could not be read
	end       func()            // ends the drill that runs, and waits until it has; nil without one
	command   string            // of the drill that runs
	simulated bool              // and whether a simulated singer answers in it
	rested    float64           // seconds of singing after which the rest was due
}

// Sound is what a page hears and sounds with.
type Sound struct {
	Mic     *Mic // nil where there is no microphone
	Speaker audio.Sink
	// Silent tells that nobody hears it.
	Silent bool
}

// hostInOrder lets one message through at a time.
type hostInOrder struct {
	Host
	mu sync.Mutex
}

func (h *hostInOrder) Post(m any) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.Host.Post(m)
}

// New returns an engine that keeps what there is to keep in a store.
func New(host Host, store Store, version string) *Engine {
	e := &Engine{Version: version, store: store, Pace: pace, keys: make(keyboard, 1<<10)}
	e.host.Host = host
	return e
}

// Start reads what is known of the singer, and tells the page that the engine is ready.
func (e *Engine) Start(ctx context.Context) {
	known, err := e.store.Known(ctx)
	if err != nil {
		e.trouble("storage", err)
	}
	e.mu.Lock()
	e.known = known
	e.mu.Unlock()
	if known.Notes == nil {
		known.Notes = []string{}
	}
	e.post(readyMessage{"ready", e.Version, known.Home, knownTable{known.Singer, "ok", "", known.Notes}})
}

// trouble tells the page of trouble that is no drill's.
func (e *Engine) trouble(code string, err error) {
	var full interface{ Full() bool }
	if errors.As(err, &full) && full.Full() {
		code += "-full"
	}
	e.post(troubleMessage{"trouble", code, sentence(err.Error()) + "."})
}

// Connect gives the engine its sound. What was there before is closed.
func (e *Engine) Connect(s Sound) {
	e.mu.Lock()
	old := e.sound
	e.sound = s
	e.mu.Unlock()
	if old.Mic != nil {
		old.Mic.Close()
	}
	if old.Speaker != nil {
		old.Speaker.Close()
	}
}

// Do does what the page says. It does not wait for what takes long.
func (e *Engine) Do(c Command) {
	switch c.Do {
	case "drill":
		e.Begin(func(ctx context.Context) { e.drill(ctx, c) })
	case "answer":
		e.desk.answered(c.ID, c.Value)
	case "key":
		e.keys.push(c.Key)
	case "enough":
		e.enough.Store(true)
	case "stop":
		e.Stop()
	case "louder":
		e.louder(c.By)
	case "lost":
		e.mu.Lock()
		mic := e.sound.Mic
		e.mu.Unlock()
		if mic != nil {
			mic.Lost(c.Samples)
		}
	case "call":
		go e.call(c)
	default:
		e.trouble("engine", fmt.Errorf("the page says %.40q, which the engine does not know: load the page again", c.Do))
	}
}

// Begin runs a drill, after the one that ran has ended.
func (e *Engine) Begin(run func(context.Context)) {
	e.mu.Lock()
	before := e.end
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	e.end = func() {
		cancel()
		<-done
	}
	e.mu.Unlock()
	go func() {
		defer close(done)
		defer cancel()
		if before != nil {
			before()
		}
		run(ctx)
	}()
}

// Stop ends the drill that runs, tidily: what was sung is kept.
func (e *Engine) Stop() {
	e.mu.Lock()
	end := e.end
	e.mu.Unlock()
	if end != nil {
		go end()
	}
}

// Wait waits until no drill runs.
func (e *Engine) Wait() {
	e.mu.Lock()
	end := e.end
	e.mu.Unlock()
	if end != nil {
		end()
	}
}

// louder changes the level of the sounds that come.
func (e *Engine) louder(dB float64) {
	l := max(drill.MinLoudness, min(drill.MaxLoudness, e.level()+dB))
	e.loudness.Store(int64(l * 100))
	e.post(textMessage{"notice", fmt.Sprintf("Playback at %g LUFS.", l)})
}

// level is the loudness of playback, in LUFS.
func (e *Engine) level() float64 { return float64(e.loudness.Load()) / 100 }

// call answers a question that belongs to no drill.
func (e *Engine) call(c Command) {
	reply := replyMessage{Is: "reply", ID: c.ID}
	value, err := e.answerTo(context.Background(), c.What, c.With)
	if err != nil {
		reply.Error = err.Error()
	} else {
		reply.Value = value
	}
	e.post(reply)
}

// with reads what comes with a call.
func with(data json.RawMessage, into any) error {
	if len(data) == 0 {
		return nil
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("the page asks in words that the engine does not know (%w): load the page again", err)
	}
	return nil
}
