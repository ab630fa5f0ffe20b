package session

import (
	"context"
	"errors"
	"math"
	"testing"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/theory"
)

// against is a line of do re mi fa, and one an octave below it in half notes of A2.
func against(t *testing.T, s *script) Line {
	score := scale(t, "4/4", theory.Fraction{})
	other := score
	p, err := theory.ParsePitch("A2")
	if err != nil {
		t.Fatal(err)
	}
	other.Notes = []theory.Written{{Pitch: p, Length: theory.Fraction{Num: 8, Den: 1}}}
	l := s.sightLine(score)
	l.Beside = func(k synth.Keyboard, t theory.Tuning, quarter float64) []float64 {
		return k.Mix([]synth.Phrase{synth.Held(synth.Line(other, t, quarter))}, []float64{0})
	}
	return l
}

// The other parts sound from the moment on in which the line is due, at their pitch and
// under the level; a recording waits for their end, and is graded as ever.
func TestAgainstSounds(t *testing.T) {
	out := &sink{Null: null}
	s := &script{line: sightSung}
	s.tasks = []Task{against(t, s)}
	from := 0
	var sung LineSung
	s.on = func(e Event) {
		switch e := e.(type) {
		case Listening:
			from = len(out.x)
		case LineSung:
			sung = e
		}
	}
	if _, err := s.run(t.Context(), config(), out); err != nil {
		t.Fatal(err)
	}
	x := out.x[from:]
	if seconds := float64(len(x)) / rate; math.Abs(seconds-(lead+4-0.05+synth.Release)) > 0.01 {
		t.Errorf("it sounds for %.3f s", seconds)
	}
	first, peak := -1, 0.0
	for i, v := range x {
		if first < 0 && v != 0 {
			first = i
		}
		peak = max(peak, math.Abs(v))
	}
	if at := float64(first) / rate; math.Abs(at-lead) > 0.001 || peak > math.Pow(10, -2./20) || peak < 0.03 {
		t.Errorf("it begins at %.4f s with a peak of %.4f", at, peak)
	}
	// 110 Hz: as many rising zero crossings of the steady tone, low-passed by what a
	// difference from one period later leaves.
	period := int(math.Round(rate / 110.0))
	off, power := 0.0, 0.0
	for i := rate; i < 2*rate; i++ {
		off, power = off+math.Pow(x[i]-x[i+period], 2), power+x[i]*x[i]
	}
	if off > 0.002*power {
		t.Errorf("one period of A2 later it differs by %.4f of its power", off/power)
	}
	if sung.Grade.Right != 4 {
		t.Errorf("%d notes right", sung.Grade.Right)
	}
}

// slow is an output that takes as long as the window: writes are counted.
type slow struct {
	audio.Null
	wrote   int
	failing error
	last    float64
	open    func() bool
}

func (s *slow) Write(ctx context.Context, x []float64) error {
	if s.failing != nil && s.open() {
		return s.failing
	}
	if len(x) > 0 {
		s.last = x[len(x)-1]
	}
	s.wrote += len(x)
	return ctx.Err()
}

// A device that fails while it sounds is told, once the window has closed.
func TestAgainstFails(t *testing.T) {
	broken := errors.New("the loudspeaker is gone")
	opened := make(chan struct{})
	out := &slow{Null: null, failing: broken, open: func() bool {
		select {
		case <-opened:
			return true
		default:
			return false
		}
	}}
	s := &script{line: sightSung}
	s.tasks = []Task{against(t, s)}
	s.on = func(e Event) {
		if _, ok := e.(Listening); ok {
			close(opened)
		}
	}
	if _, err := s.run(t.Context(), config(), out); !errors.Is(err, broken) {
		t.Errorf("%v, want %v", err, broken)
	}
}

// What is cut fades to silence within two steps, and the output is free when it is
// joined; cancelling ends it too and is no error.
func TestAlong(t *testing.T) {
	tone := make([]float64, 10*rate)
	for i := range tone {
		tone[i] = 0.5
	}
	gate := make(chan struct{}, 1000)
	out := gated{null, gate, &[]float64{}}
	turn := &Turn{out: out}
	a := turn.along(t.Context(), append([]float64(nil), tone...))
	for range 20 {
		gate <- struct{}{}
	}
	a.cut()
	for range 5 {
		gate <- struct{}{}
	}
	if err := a.join(); err != nil {
		t.Fatal(err)
	}
	x := *out.x
	if n := len(x); n == 0 || n > 23*rate/20 || x[n-1] > 1e-6 {
		t.Fatalf("%d samples, the last %g", n, x[n-1])
	}
	for i := 1; i < len(x); i++ {
		if math.Abs(x[i]-x[i-1]) > 0.5*math.Pi/2/(step*rate)*1.01 {
			t.Fatalf("a jump of %g at %d", x[i]-x[i-1], i)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	a = (&Turn{out: gated{null, make(chan struct{}), &[]float64{}}}).along(ctx, tone)
	stop()
	if err := a.join(); err != nil {
		t.Error(err)
	}
}

// gated takes one block for each permission.
type gated struct {
	audio.Null
	gate chan struct{}
	x    *[]float64
}

func (g gated) Write(ctx context.Context, x []float64) error {
	select {
	case <-g.gate:
		*g.x = append(*g.x, x...)
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// At a microphone the parts are cut when the window closes, and a singer with long rests
// is waited for.
func TestAgainstLive(t *testing.T) {
	out := &sink{Null: null}
	m := &microphone{whine: -80, hz: 155}
	s := &script{}
	l := against(t, s)
	rest := theory.Written{Rest: true, Length: theory.Fraction{Num: 16, Den: 1}} // 8 s
	l.Melody.Score.Notes = append(append(append([]theory.Written{}, l.Melody.Score.Notes[:2]...), rest), l.Melody.Score.Notes[2:]...)
	s.tasks = []Task{l}
	var prompted LinePrompted
	s.line = func(p LinePrompted, _ float64) (audio.Source, bool, error) {
		prompted = p
		return m, true, nil
	}
	var sung LineSung
	s.on = func(e Event) {
		switch e := e.(type) {
		case Listening:
			m.voice = tonesOf(prompted, lead, -20, []float64{1, 0.5, 0.3})
		case LineSung:
			sung = e
		}
	}
	if _, err := s.run(t.Context(), config(), out); err != nil {
		t.Fatal(err)
	}
	if sung.Grade.Right != 4 {
		t.Errorf("%d of 4 notes right beside a rest of 8 s", sung.Grade.Right)
	}
}
