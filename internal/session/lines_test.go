package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// One bar is counted in, two where it has at most two beats, and what an
// incomplete first bar lacks (common practice).
func TestLinesEvents(t *testing.T) {
	var none theory.Fraction
	for _, c := range []struct {
		name  string
		score theory.Score
		set   func(*Line)
		want  []string
	}{
		{"in 4/4", scale(t, "4/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"in 2/4", scale(t, "2/4", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"in 6/8", scale(t, "6/8", none), nil, []string{"read 1/1, 120 a minute", "key", "4 beats", "listen", "sung 1, 1.3 s voiced", "finished false"}},
		{"with a pickup", scale(t, "4/4", theory.Fraction{Num: 1, Den: 1}), nil, []string{"read 1/1, 120 a minute", "key", "7 beats", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"free", scale(t, "4/4", none), func(l *Line) { l.Free = true }, []string{"read 1/1, 120 a minute", "key", "listen", "sung 1, 1.8 s voiced", "finished false"}},
		{"echo", scale(t, "4/4", none), func(l *Line) { l.Echo = true }, []string{"read 1/1, 120 a minute", "key", "plays", "listen", "sung 1, 1.8 s voiced", "finished false"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &script{line: sightSung}
			l := s.sightLine(c.score)
			if c.set != nil {
				c.set(&l)
			}
			s.tasks = []Task{l}
			var sung LineSung
			s.on = func(e Event) {
				if e, ok := e.(LineSung); ok {
					sung = e
				}
			}
			tally, err := s.run(t.Context(), config(), null)
			if err != nil {
				t.Fatal(err)
			}
			same(t, s.log, c.want...)
			if g := sung.Grade; g.Right != 4 || len(g.Notes) != 4 || sung.Outcome != exercise.RightAnswer || sung.Hidden || tally.Lines != (exercise.Marks{Right: 1, Of: 1}) {
				t.Errorf("%d of %d notes right, %v, hidden %v; tally %v", g.Right, len(g.Notes), sung.Outcome, sung.Hidden, tally.Lines)
			}
			if l.Skill() != (exercise.Skill{Kind: exercise.MelodySkill, Level: 3}) {
				t.Errorf("credited to %v", l.Skill())
			}
			// Whoever is counted in enters within 20 ms of the time: what the ear's
			// frames allow.
			if entry, ok := sung.Entry(); ok != (!l.Free && !l.Echo) || math.Abs(entry) > 0.02 {
				t.Errorf("entered after %.3f s, %v", entry, ok)
			}
		})
	}
}

// sink keeps what was played.
type sink struct {
	audio.Null
	x []float64
}

func (s *sink) Write(_ context.Context, x []float64) error {
	s.x = append(s.x, x...)
	return nil
}

// The window opens 0.15 s before the downbeat, which the take says; the beats
// before it are evenly spaced, and the last one is a beat away from it.
func TestCountInIsInTime(t *testing.T) {
	out := &sink{Null: null}
	s := &script{}
	var from, to int
	var sung LineSung
	s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		if lead != 0.15 {
			t.Errorf("lead %g s", lead)
		}
		return sightSung(p, lead)
	}
	s.on = func(e Event) {
		switch e := e.(type) {
		case CountIn:
			from = len(out.x)
		case Listening:
			to = len(out.x)
		case LineSung:
			sung = e
		}
	}
	if _, err := s.lines(scale(t, "4/4", theory.Fraction{})).run(t.Context(), config(), out); err != nil {
		t.Fatal(err)
	}
	if !sung.HasDue || sung.Due != 0.15 || len(sung.Samples) < int(sung.Take.Heard) {
		t.Errorf("due after %g s, %d samples", sung.Due, len(sung.Samples))
	}
	var onsets []float64
	quiet := rate
	for i, v := range out.x[from:to] {
		if quiet++; math.Abs(v) > 1e-5 {
			if quiet > rate/10 {
				onsets = append(onsets, float64(i)/rate)
			}
			quiet = 0
		}
	}
	if len(onsets) != 4 {
		t.Fatalf("clicks at %v s", onsets)
	}
	for i, at := range onsets {
		if math.Abs(at-0.5*float64(i)) > 0.002 {
			t.Errorf("click %d at %.4f s, want %.1f", i+1, at, 0.5*float64(i))
		}
	}
	if d := float64(to-from)/rate + 0.15 - 2; math.Abs(d) > 0.001 {
		t.Errorf("the downbeat is %.4f s off", d)
	}
}

// A line is sung again while the singer says so; an error ends the run, and the last
// event comes all the same.
func TestLinesAgain(t *testing.T) {
	enough := errors.New("enough")
	s := &script{}
	asked := 0
	s.again = func(context.Context, LineSung) (bool, error) {
		asked++
		if asked == 3 {
			return false, enough
		}
		return asked == 1, nil
	}
	var got []string
	opened := 0
	s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		opened++
		return sightSung(p, lead)
	}
	var attempts []int
	s.on = func(e Event) {
		switch e := e.(type) {
		case LineSung:
			attempts = append(attempts, e.Attempt)
			got = append(got, brief(e))
		case Finished:
			got = append(got, brief(e))
		}
	}
	_, err := s.lines(scale(t, "4/4", theory.Fraction{}), scale(t, "3/4", theory.Fraction{})).run(t.Context(), config(), null)
	if !errors.Is(err, enough) || opened != 3 || !slices.Equal(attempts, []int{1, 2, 1}) {
		t.Errorf("%v after %d answers, attempts %v", err, opened, attempts)
	}
	same(t, got, "sung 1, 1.8 s voiced", "sung 1, 1.8 s voiced", "sung 2, 1.8 s voiced", "finished true")
}

// Beats follow the meters of a line, whose strong ones are on bar lines.
func TestBeats(t *testing.T) {
	s := scale(t, "2/4", theory.Fraction{Num: 1, Den: 1})
	s.Notes = append(s.Notes, s.Notes...)
	s.Changes = []theory.Change{{At: theory.Fraction{Num: 5, Den: 1}, Key: s.Key, Meter: theory.Meter{Beats: 3, Unit: 4}}}
	var got string
	for _, b := range beatsFrom(s, 1, 0, 8, 0) {
		got += fmt.Sprintf("%g", b.At)
		if b.Strong {
			got += "!"
		}
		got += " "
	}
	if want := "0 1! 2 3! 4 5! 6 7 "; got != want {
		t.Errorf("beats %s, want %s", got, want)
	}
}

// tonesOf is a line in tones of some harmonics at a level in dBFS RMS, after the lead.
func tonesOf(p LinePrompted, lead, level float64, amps []float64) []float64 {
	x := silence(lead)
	for _, n := range synth.Line(p.Melody.Score, p.Tuning, p.Quarter) {
		note := testkit.Tone(rate, 0.9*n.Duration, testkit.Steady(n.Hz), amps)
		x = slices.Concat(x, testkit.Scale(note, math.Pow(10, level/20)/testkit.RMS(note)), silence(0.1*n.Duration))
	}
	x = append(x, silence(2)...)
	for i, v := range testkit.White(len(x), 5) {
		x[i] += 0.0002 * v // -74 dBFS
	}
	return x
}

// heardLine is a line sung with a hearing, and the pitches that were told meanwhile.
func heardLine(t *testing.T, h listen.Hearing, score theory.Score, answer func(LinePrompted, float64) []float64) (LineSung, []float64) {
	t.Helper()
	c := config()
	c.Hearing = h
	s := &script{}
	s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
		return recording(answer(p, lead)), false, nil
	}
	var sung LineSung
	var told []float64
	s.on = func(e Event) {
		switch e := e.(type) {
		case Heard:
			if e.F0 > 0 {
				told = append(told, e.F0)
			}
		case LineSung:
			sung = e
		}
	}
	if _, err := s.lines(score).run(t.Context(), c, null); err != nil {
		t.Fatal(err)
	}
	return sung, told
}

// A line is heard with the singer's gate, live and in its second reading: what hums
// below it is neither the singer nor a note. Without a gate it is both, so the test
// shows something.
func TestLineIsHeardWithTheGate(t *testing.T) {
	hum := func(p LinePrompted, lead float64) []float64 {
		x := tonesOf(p, lead, -50, testkit.Harmonics(8, 9))
		return x
	}
	over := func(p LinePrompted, lead float64) []float64 { // one sings, and something hums before and after
		x := slices.Concat(testkit.Whine(rate, 1, 155, -50), tonesOf(p, 0, -20, testkit.Harmonics(8, 9)))
		for i, v := range testkit.Whine(rate, 1, 155, -50) {
			x[len(x)-rate+i] += v
		}
		return x
	}
	score := scale(t, "4/4", theory.Fraction{})
	for _, gate := range []float64{0, -40} {
		sung, told := heardLine(t, listen.Hearing{Gate: gate}, score, hum)
		if heard := gate == 0; sung.Heard() != heard || (len(told) > 0) != heard || (sung.Take.Voiced > 0) != heard || (sung.Outcome != exercise.NotMeasured) != heard {
			t.Errorf("gate %g: of a line of -50 dBFS %d notes, %.2f s voiced, %d pitches told, %v; heard: want %v",
				gate, len(sung.Sung.Notes), sung.Take.Voiced, len(told), sung.Outcome, heard)
		}
		sung, told = heardLine(t, listen.Hearing{Gate: gate}, score, over)
		want := 4
		if gate == 0 {
			want = 6
		}
		hums := slices.ContainsFunc(told, func(hz float64) bool { return math.Abs(theory.CentsBetween(hz, 155)) < 50 })
		if len(sung.Sung.Notes) != want || hums != (gate == 0) || sung.Grade.Right != 4 {
			t.Errorf("gate %g: %d notes of a line with something that hums before and after, %d right, its pitch told: %v; want %d", gate, len(sung.Sung.Notes), sung.Grade.Right, hums, want)
		}
	}
}

// A line at the upper edge of the range whose second harmonic all but hides the
// fundamental is read at its octave, live and in its second reading; where the range is
// not known it is read an octave higher.
func TestLineIsHeardWithTheRange(t *testing.T) {
	score := scale(t, "4/4", theory.Fraction{})
	for i, name := range []string{"G#4", "A4", "G4", "A4"} {
		p, err := theory.ParsePitch(name)
		if err != nil {
			t.Fatal(err)
		}
		score.Notes[i].Pitch = p
	}
	trap := func(p LinePrompted, lead float64) []float64 {
		return tonesOf(p, lead, -20, []float64{0.03, 1, 0.02, 0.5, 0.01, 0.3, 0.01, 0.2})
	}
	for _, c := range []struct {
		h      listen.Hearing
		octave float64 // above what is written
	}{{listen.Hearing{Low: 165, High: 450}, 0}, {listen.Hearing{}, 1}} {
		sung, told := heardLine(t, c.h, score, trap)
		if len(sung.Sung.Notes) != 4 {
			t.Errorf("%+v: %d notes, want 4", c.h, len(sung.Sung.Notes))
			continue
		}
		for i, n := range sung.Sung.Notes {
			if want := float64(100*score.Notes[i].Pitch.MIDI()) + 1200*c.octave; math.Abs(n.Cents-want) > 10 {
				t.Errorf("%+v: note %d at %.0f cents, want %.0f", c.h, i+1, n.Cents, want)
			}
		}
		wrong := 0
		for _, hz := range told {
			if (hz > 465) != (c.octave > 0) {
				wrong++
			}
		}
		if wrong > len(told)/20 || len(told) < 10 {
			t.Errorf("%+v: %d of %d pitches told meanwhile are in another octave", c.h, wrong, len(told))
		}
	}
}

// microphone is a live source in a room with a whine. What it gives follows the clock:
// what is skipped is gone. From the moment in which it is told to, it sings.
type microphone struct {
	whine float64 // dBFS
	hz    float64
	at    int
	room  []float64
	voice []float64
}

func (*microphone) SampleRate() int { return rate }
func (*microphone) Close() error    { return nil }
func (m *microphone) Skip() int64   { return 0 }
func (m *microphone) Read(ctx context.Context, dst []float64) (int, int64, error) {
	if m.room == nil {
		m.room = testkit.Whine(rate, 40, m.hz, m.whine)
	}
	n := copy(dst, m.room[m.at%len(m.room):])
	m.at += n
	for i := range dst[:n] {
		if i >= len(m.voice) {
			break
		}
		dst[i] += m.voice[i]
	}
	m.voice = m.voice[min(n, len(m.voice)):]
	return n, 0, ctx.Err()
}

// A whine of the room is no part of a line that is sung live: not before the singer
// has begun, so that the window waits, nor after, so that it closes, nor in the second
// reading. Each kind of line learns what the room sounds like before it.
func TestLineInARoomThatWhines(t *testing.T) {
	score := scale(t, "4/4", theory.Fraction{})
	for _, c := range []struct {
		name string
		set  func(*Line)
		want []string
	}{
		{"counted in", nil, []string{"read 1/1, 120 a minute", "key", "wait", "4 beats", "listen"}},
		{"free", func(l *Line) { l.Free = true }, []string{"read 1/1, 120 a minute", "key", "wait", "listen"}},
		{"echo", func(l *Line) { l.Echo, l.Gap = true, 1 }, []string{"read 1/1, 120 a minute", "key", "plays", "wait", "listen"}},
	} {
		for _, sings := range []bool{true, false} {
			m := &microphone{whine: -40, hz: 155}
			s := &script{}
			l := s.sightLine(score)
			if c.set != nil {
				c.set(&l)
			}
			s.tasks = []Task{l}
			var prompted LinePrompted
			before := 0.0
			s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
				prompted, before = p, lead
				return m, true, nil
			}
			var sung LineSung
			opened := 0
			s.on = func(e Event) {
				switch e := e.(type) {
				case Listening:
					if opened = m.at; sings {
						m.voice = tonesOf(prompted, before+1, -20, testkit.Harmonics(8, 9))
					}
				case LineSung:
					sung = e
				}
			}
			if _, err := s.run(t.Context(), config(), null); err != nil {
				t.Fatal(err)
			}
			want := append(slices.Clone(c.want), fmt.Sprintf("sung 1, %.1f s voiced", sung.Take.Voiced), "finished false")
			same(t, s.log, want...)
			// Sung: 1 s of waiting, 2 s of line and 1.5 s of silence. Else 10 s of nothing.
			length := float64(m.at-opened) / rate
			if sings && (length < 4 || length > 5.2 || sung.Grade.Right != 4 || len(sung.Sung.Notes) != 4 || math.Abs(sung.Take.Voiced-1.8) > 0.15) {
				t.Errorf("%s: closed after %.2f s, %d notes, %d right, %.2f s voiced", c.name, length, len(sung.Sung.Notes), sung.Grade.Right, sung.Take.Voiced)
			}
			if !sings && (length < 9.9 || length > 10.3 || sung.Heard() || sung.Take.Voiced > 0.1 || sung.Outcome != exercise.NotMeasured) {
				t.Errorf("%s, nobody sings: closed after %.2f s, %d notes, %.2f s voiced, %v", c.name, length, len(sung.Sung.Notes), sung.Take.Voiced, sung.Outcome)
			}
		}
	}
}

// The delay from playback to capture is no lateness of the singer's.
func TestLineIsDueAfterTheDelay(t *testing.T) {
	for _, delay := range []float64{0, 0.2} {
		m := &microphone{whine: -80, hz: 155}
		c := config()
		c.Delay = delay
		s := &script{}
		var prompted LinePrompted
		s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
			prompted = p
			return m, true, nil
		}
		var sung LineSung
		s.on = func(e Event) {
			switch e := e.(type) {
			case Listening:
				m.voice = tonesOf(prompted, lead+delay, -20, testkit.Harmonics(8, 9))
			case LineSung:
				sung = e
			}
		}
		if _, err := s.lines(scale(t, "4/4", theory.Fraction{})).run(t.Context(), c, null); err != nil {
			t.Fatal(err)
		}
		if entry, ok := sung.Entry(); !ok || math.Abs(entry) > 0.02 || sung.Due != lead+delay {
			t.Errorf("delay %g s: entered %.3f s late, %v; due after %g s", delay, entry, ok, sung.Due)
		}
	}
}

// A line of which samples were lost, or in which nobody sang, is graded and does not
// count; one that was not passed is told by what was wrong in it.
func TestLineOutcomes(t *testing.T) {
	for _, c := range []struct {
		name    string
		set     func(p LinePrompted, src *testkit.Source)
		outcome exercise.Outcome
		heard   bool
		marks   exercise.Marks
	}{
		{"sung as written", func(LinePrompted, *testkit.Source) {}, exercise.RightAnswer, true, exercise.Marks{Right: 1, Of: 1}},
		{"with another note for the third", func(p LinePrompted, src *testkit.Source) {
			q := p
			q.Melody.Score.Notes = slices.Clone(p.Melody.Score.Notes)
			q.Melody.Score.Notes[2].Pitch = p.Melody.Score.Notes[0].Pitch
			src.Cues = []testkit.Cue{{Samples: sings(q, lead)}}
		}, exercise.WrongAnswer, true, exercise.Marks{Right: 0, Of: 1}},
		{"of which one sample was lost", func(_ LinePrompted, src *testkit.Source) {
			x := src.Cues[0].Samples
			src.Cues = []testkit.Cue{{Samples: x[:rate]}, {Lost: 1, Samples: x[rate:]}}
		}, exercise.NotMeasured, true, exercise.Marks{}},
		{"of silence", func(_ LinePrompted, src *testkit.Source) { src.Cues = []testkit.Cue{{Samples: silence(3)}} }, exercise.NotMeasured, false, exercise.Marks{}},
	} {
		s := &script{}
		s.line = func(p LinePrompted, lead float64) (audio.Source, bool, error) {
			src := recording(sings(p, lead))
			c.set(p, src)
			return src, false, nil
		}
		var sung LineSung
		s.on = func(e Event) {
			if e, ok := e.(LineSung); ok {
				sung = e
			}
		}
		tally, err := s.lines(scale(t, "4/4", theory.Fraction{})).run(t.Context(), config(), null)
		if err != nil {
			t.Fatal(err)
		}
		if sung.Outcome != c.outcome || sung.Heard() != c.heard || sung.Counts() != (c.outcome != exercise.NotMeasured) || tally.Lines != c.marks {
			t.Errorf("%s: %v, heard %v, counts %v, tally %v; want %v, %v, %v", c.name, sung.Outcome, sung.Heard(), sung.Counts(), tally.Lines, c.outcome, c.heard, c.marks)
		}
		pair, ok := sung.Weakest()
		if wrong := c.outcome == exercise.WrongAnswer; ok && pair[0] == pair[1] || wrong != (ok && slices.Contains(pair[:], theory.Degree{Step: 3})) {
			t.Errorf("%s: to practise is %v, %v", c.name, pair, ok)
		}
	}
}
