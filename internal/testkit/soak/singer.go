//go:build unix

package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"sync"

	"singback/internal/synth"
)

const rate = 48000

// singer reads the events of a drill and sings what is asked, a little off, into the
// virtual microphone.
type singer struct {
	rng     *rand.Rand
	singing sync.WaitGroup

	mu    sync.Mutex
	t     tally
	cents float64 // off the degree, of the answer that is being sung
	hz    float64 // of the degree that is asked; 0: a line is
	notes []synth.Sung
}

// tally is what became of the questions.
type tally struct {
	asked, degrees, right, wrong, unheard int
	lines, heard                          int
	why                                   map[string]int
	off                                   []string // the wrong ones
}

// reasons are those of answers that were not measured, with their number.
func (t tally) reasons() string {
	var out []string
	for _, r := range slices.Sorted(maps.Keys(t.why)) {
		out = append(out, fmt.Sprintf("%s %d", r, t.why[r]))
	}
	if out == nil {
		return "none"
	}
	return strings.Join(out, ", ")
}

func newSinger(seed uint64) *singer {
	return &singer{rng: rand.New(rand.NewPCG(seed, 19)), t: tally{why: map[string]int{}}}
}

func (s *singer) tally() tally {
	s.mu.Lock()
	defer s.mu.Unlock()
	t := s.t
	t.why = maps.Clone(t.why)
	return t
}

// wait waits until nobody sings any more.
func (s *singer) wait() { s.singing.Wait() }

// event is what the singer wants to know of one.
type event struct {
	Event  string   `json:"event"`
	Target float64  `json:"target_hz"`
	Cents  *float64 `json:"cents_from_asked"`
	Reason *string  `json:"reason"`
	Tempo  float64  `json:"tempo_bpm"`
	Heard  bool     `json:"heard"`
	Line   struct {
		Notes []struct {
			MIDI   float64 `json:"midi"`
			Length string  `json:"length"`
		} `json:"notes"`
	} `json:"line"`
}

// off is how far from what was sung a measure may lie, in cents: the model voice
// wanders by 3, scoops and falls.
const off = 8

// follow reads events to their end.
func (s *singer) follow(events io.Reader) {
	lines := bufio.NewScanner(events)
	lines.Buffer(nil, 1<<22)
	for lines.Scan() {
		var e event
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			continue
		}
		s.mu.Lock()
		switch e.Event {
		case "prompt":
			s.hz = e.Target
		case "line":
			s.hz, s.notes = 0, nil
			for _, n := range e.Line.Notes {
				s.notes = append(s.notes, synth.NewSung(440*math.Exp2((n.MIDI-69)/12), fraction(n.Length)*60/e.Tempo))
			}
		case "listening":
			s.sing()
		case "verdict":
			s.t.asked++
			s.t.degrees++
			switch {
			case e.Cents == nil:
				s.t.unheard++
				if e.Reason != nil {
					s.t.why[*e.Reason]++
				}
			case math.Abs(math.Remainder(*e.Cents, 1200)-s.cents) <= off:
				s.t.right++
			default:
				s.t.wrong++
				s.t.off = append(s.t.off, fmt.Sprintf("sung %+.1f cents off, measured %+.1f", s.cents, math.Remainder(*e.Cents, 1200)))
			}
		case "sung":
			s.t.asked++
			s.t.lines++
			if e.Heard {
				s.t.heard++
			}
		}
		s.mu.Unlock()
	}
}

// fraction reads quarter notes like 3/2.
func fraction(text string) float64 {
	num, den := 0., 1.
	fmt.Sscanf(strings.Replace(text, "/", " ", 1), "%g %g", &num, &den)
	return num / den
}

// sing plays the answer into the microphone; it does not wait.
func (s *singer) sing() {
	var notes []synth.Sung
	low := s.hz
	if s.hz > 0 {
		s.cents = 80*s.rng.Float64() - 40
		notes = []synth.Sung{synth.Rest(0.2 + 0.5*s.rng.Float64()), synth.NewSung(s.hz*math.Exp2(s.cents/1200), 2.5)}
	} else if len(s.notes) > 0 {
		low = s.notes[0].Hz
		notes = append([]synth.Sung{synth.Rest(0.5)}, s.notes...)
	}
	seed := s.rng.Uint64()
	s.singing.Go(func() {
		x, _ := synth.Voice{SampleRate: rate, Type: voiceAt(low)}.Sing(append(notes, synth.Rest(0.3)), seed)
		raw := make([]byte, 0, 4*len(x))
		for _, v := range x {
			raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(float32(v)))
		}
		play := exec.Command("paplay", "--raw", "--format=float32le", fmt.Sprint("--rate=", rate), "--channels=1", "--latency-msec=400", "--device=mic_feed")
		play.Stdin = bytes.NewReader(raw)
		_ = play.Run() // what was not played is not heard, and shows there
	})
}

func voiceAt(hz float64) synth.VoiceType {
	switch {
	case hz < 150:
		return synth.Bass
	case hz < 260:
		return synth.Tenor
	case hz < 400:
		return synth.Alto
	}
	return synth.Soprano
}

// said keeps the end of what the drill says on standard error.
type said struct {
	singer *singer
	mu     sync.Mutex
	lines  []string
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for line := range strings.Lines(string(p)) {
		s.lines = append(s.lines, strings.TrimSpace(line))
	}
	s.lines = s.lines[max(0, len(s.lines)-4):]
	return len(p), nil
}

func (s *said) last() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.lines, " / ")
}
