package desk

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"

	"singback/internal/audio"
	"singback/internal/classfile"
	"singback/internal/codec"
	"singback/internal/review"
	"singback/internal/sheet"
	"singback/internal/synth"
)

// What is a thing that can be heard of a take.
type What int8

const (
	HearTake  What = iota // the recording
	HearModel             // the line, in the key and the tempo of the take
	HearBoth              // both at once
)

// String returns the word.
func (w What) String() string { return [...]string{"take", "model", "both"}[w] }

// WhatNamed is the way back from What.String.
func WhatNamed(s string) (What, bool) {
	for w := HearTake; w <= HearBoth; w++ {
		if w.String() == s {
			return w, true
		}
	}
	return 0, false
}

// Sound is a part of a take as it is heard.
type Sound struct {
	Rate     int // hertz
	Samples  []float64
	From, To float64 // seconds of the take
}

// The limits of what is heard at once.
const (
	modelRate  = 44100   // hertz, of a model alone
	mostHeard  = 20 * 60 // seconds
	fade       = 0.010   // seconds, at both ends
	leadIn     = 2.0     // seconds before a place, where no bars are
	mostRaised = 30.0    // dB by which a soft take is raised
	underTake  = 3.0     // dB by which the model lies under the take where both sound
)

// ErrGone is wrapped by the error about a recording that lies no more where it did.
var ErrGone = errors.New("the recording is gone")

// Before is where hearing a place begins: one bar before it, or 2 seconds where the line
// has no bars.
func (m Marked) Before(place float64) float64 {
	times := sheet.NewTimes(m.Line.Line, &m.Grading)
	bars := times.Bars(m.Line.Line)
	last := -1
	for i, t := range bars {
		if t <= place+0.01 {
			last = i
		}
	}
	if last > 0 {
		return max(0, bars[last-1]+place-bars[last])
	}
	if n := len(bars); n > 1 {
		return max(0, place-(bars[1]-bars[0]))
	}
	return max(0, place-leadIn)
}

// End is how long a take is, in seconds, as far as anything is in it.
func (m Marked) End() float64 {
	end := m.Row.Seconds
	if n := len(m.Performance.Notes); n > 0 {
		end = max(end, m.Performance.Notes[n-1].Offset)
	}
	return end
}

// Sound computes what is heard from one second of the take to another; a to of 0 is its
// end. It is as loud as level says, in LUFS, and neither end clicks.
func (m Marked) Sound(ctx context.Context, f *classfile.File, what What, from, to, level float64) (Sound, error) {
	if to <= 0 {
		to = m.End()
	}
	from = max(0, from)
	switch {
	case !(to > from):
		return Sound{}, fmt.Errorf("nothing lies between %s and %s: the take ends at %s", sheet.Clock(from), sheet.Clock(to), sheet.Clock(m.End()))
	case to-from > mostHeard:
		return Sound{}, fmt.Errorf("%.0f minutes are too long to be heard at once: want at most %d", (to-from)/60, mostHeard/60)
	}
	if what == HearModel {
		out := Sound{Rate: modelRate, Samples: m.model(modelRate, from, to), From: from, To: to}
		raise(out.Samples, out.Rate, level, math.Inf(1))
		return out.faded(), nil
	}
	samples, rate, err := m.recording(ctx, f, from, to)
	if err != nil {
		return Sound{}, err
	}
	if len(samples) == 0 {
		return Sound{}, fmt.Errorf("%s: the recording ends before %s", m.Source, sheet.Clock(from))
	}
	out := Sound{Rate: rate, Samples: samples, From: from, To: from + float64(len(samples))/float64(rate)}
	raise(out.Samples, rate, level, mostRaised)
	if what == HearBoth {
		out.mix(m.model(rate, from, out.To), level)
	}
	return out.faded(), nil
}

// raise brings a sound to a loudness in LUFS, by at most so many decibels upward.
func raise(x []float64, rate int, level, most float64) {
	gain := min(synth.Gain(x, rate, level), math.Pow(10, most/20))
	for i := range x {
		x[i] *= gain
	}
}

func rmsOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

// mix adds a model under a take, and brings both together to the level.
func (s *Sound) mix(model []float64, level float64) {
	if loud := rmsOf(model); loud > 0 {
		gain := rmsOf(s.Samples) * math.Pow(10, -underTake/20) / loud
		for i := range min(len(model), len(s.Samples)) {
			s.Samples[i] += gain * model[i]
		}
	}
	if synth.Gain(s.Samples, s.Rate, level) < 1 {
		raise(s.Samples, s.Rate, level, 0)
	}
}

// faded lets both ends begin and end in silence.
func (s Sound) faded() Sound {
	n := min(int(fade*float64(s.Rate)), len(s.Samples)/2)
	for i := range n {
		w := 0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(n))
		s.Samples[i] *= w
		s.Samples[len(s.Samples)-1-i] *= w
	}
	return s
}

// model plays the line where the take has it: each note when the singer's tempo gives it,
// in the singer's key, as the keyboard plays.
func (m Marked) model(rate int, from, to float64) []float64 {
	times := sheet.NewTimes(m.Line.Line, &m.Grading)
	var phrase synth.Phrase
	for i, due := range m.Line.Notes {
		begins, ends := times.Of(i, due.Onset), times.Of(i+1, due.Onset+due.Length)
		if ends <= from || begins >= to || ends <= begins {
			continue
		}
		cents := due.Cents + m.Grading.KeyAt(begins)
		start := max(begins, from)
		phrase = append(phrase, synth.Sound{Hz: 440 * math.Pow(2, (cents-6900)/1200), Start: start - from, Duration: 0.94 * (min(ends, to) - start)})
	}
	out := make([]float64, int((to-from)*float64(rate)))
	keyboard := synth.NewKeyboard(rate)
	keyboard.Instrument = m.Instrument
	copy(out, keyboard.Render(phrase))
	return out
}

// recording reads a part of the take's recording: the copy that the class holds, else
// where it lies.
func (m Marked) recording(ctx context.Context, f *classfile.File, from, to float64) ([]float64, int, error) {
	if review.IsCurve(m.Source) {
		return nil, 0, fmt.Errorf("%s is a pitch curve: there is nothing to hear of it but the model", m.Source)
	}
	src, err := m.open(f)
	if err != nil {
		return nil, 0, err
	}
	defer src.Close()
	rate := src.SampleRate()
	skip, want := int64(from*float64(rate)), int64((to-from)*float64(rate))
	out := make([]float64, 0, min(want, 1<<20))
	buffer := make([]float64, 1<<14)
	for int64(len(out)) < want {
		n, lost, err := src.Read(ctx, buffer)
		if errors.Is(err, io.EOF) && n == 0 {
			break
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, 0, err
		}
		got := buffer[:n]
		skip -= lost
		if skip >= int64(n) {
			skip -= int64(n)
			continue
		}
		got = got[max(0, skip):]
		skip = 0
		out = append(out, got[:min(int64(len(got)), want-int64(len(out)))]...)
	}
	return out, rate, nil
}

// open opens the recording, and sees that it is the one that was measured.
func (m Marked) open(f *classfile.File) (*audio.WAV, error) {
	if m.Kept {
		data, err := f.Recording(m.ID)
		if err == nil {
			return openCopy(data, m.Source)
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	raw, err := codec.OpenRaw(f.Where(m.Source))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: it was %s; put it back there, or hear the model alone", ErrGone, m.Source)
	}
	if err != nil {
		return nil, err
	}
	sum := sha256.New()
	_, err = io.Copy(sum, raw)
	if err = errors.Join(err, raw.Close()); err != nil {
		return nil, fmt.Errorf("%s: %w", m.Source, err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != m.SHA256 {
		return nil, fmt.Errorf("%w: what is called %s now is another one than was marked; collect it, or put the old one back", ErrGone, m.Source)
	}
	return codec.Open(f.Where(m.Source))
}

// openCopy opens a recording that is held in memory.
func openCopy(data []byte, name string) (*audio.WAV, error) {
	w, err := codec.New(bytes.NewReader(data), name)
	if err == nil || !errors.Is(err, codec.ErrNeedsProgram) {
		return w, err
	}
	file, err := os.CreateTemp("", "singback-*")
	if err != nil {
		return nil, err
	}
	_, err = file.Write(data)
	err = errors.Join(err, file.Close())
	if err == nil {
		w, err = codec.Open(file.Name())
	}
	if err != nil {
		return nil, errors.Join(err, os.Remove(file.Name()))
	}
	w.OnClose(both{w.Closer(), file.Name()})
	return w, nil
}

// both closes what reads a file, and takes the file away.
type both struct {
	of   io.Closer
	file string
}

func (b both) Close() error {
	var err error
	if b.of != nil {
		err = b.of.Close()
	}
	return errors.Join(err, os.Remove(b.file))
}
