package doctor

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/pitch"
)

// How long is listened, in seconds: to the microphone while it begins, which often
// clicks; to the room; from the moment on at which a test sound is handed over; and
// how much longer than the tone.
const (
	warmSeconds  = 0.3
	RoomSeconds  = 3.0
	probeSeconds = 1.5
	tailSeconds  = 1.2
	probes       = 3
)

// Room is what the microphone hears when nobody sings. Levels are dBFS and say
// nothing of dB SPL.
type Room struct {
	Rate    int
	Latency time.Duration // from the microphone to the program, as the driver states it; 0: it does not
	Noise   calib.Noise
	Peak    float64 // the highest sample
	Clipped bool
	Lost    int64 // samples that the driver lost

	end []float64 // how it sounded last
}

// Deaf tells that not even noise arrived.
func (r Room) Deaf() bool { return r.Noise.Loud <= pitch.MinLevel }

// ListenRoom listens to the room for RoomSeconds.
func ListenRoom(ctx context.Context, src audio.Source) (Room, error) {
	r := Room{Rate: src.SampleRate(), Latency: latency(src)}
	if _, _, err := record(ctx, src, warmSeconds); err != nil {
		return r, err
	}
	x, lost, err := record(ctx, src, RoomSeconds)
	if err != nil {
		return r, err
	}
	r.Lost = lost
	var m audio.Meter
	m.Push(x)
	r.Peak, r.Clipped = audio.DBFS(m.Peak), m.Clipped > 0
	r.end = x[len(x)-len(x)/3:]
	r.Noise, err = calib.MeasureNoise(x, r.Rate)
	return r, err
}

// Sounded is what came back of what was played.
type Sounded struct {
	Level float64 // in dBFS: no sample that was played exceeds it
	// Echo is the test sound of the calibration: Level and Delay are the median of
	// those that were heard, of Probes; Scatter is how far their delays lie apart, in
	// seconds.
	Echo          calib.Echo
	Probes, Heard int
	Scatter       float64
	Tone          Steady
	// What the drivers say: samples that the microphone's lost, how often the
	// loudspeaker's had nothing to play, and how long sound takes through both, 0
	// where they state nothing.
	Lost, Underruns int64
	Latency         time.Duration
}

// Play plays the test sound of the calibration three times, and the test tone, at
// level, in dBFS, and listens to what comes back; some 16 s. room is that of
// [ListenRoom] with the same source, just before.
func Play(ctx context.Context, src audio.Source, out audio.Sink, room Room, level float64) (Sounded, error) {
	s := Sounded{Level: level, Probes: probes}
	var heard []calib.Echo
	for range probes {
		x, lost, err := once(ctx, src, out, calib.Probe(out.SampleRate(), level), probeSeconds)
		if err != nil {
			return s, err
		}
		s.Lost += lost
		e, err := calib.FindEcho(x, src.SampleRate(), level)
		if err != nil {
			return s, err
		}
		if e.Heard {
			heard = append(heard, e)
		} else {
			s.Echo.Ratio = max(s.Echo.Ratio, e.Ratio)
		}
	}
	if s.Heard = len(heard); s.Heard > probes/2 {
		slices.SortFunc(heard, func(a, b calib.Echo) int {
			if a.Delay < b.Delay {
				return -1
			}
			return 1
		})
		s.Echo, s.Scatter = heard[len(heard)/2], heard[len(heard)-1].Delay-heard[0].Delay
	}
	x, lost, err := once(ctx, src, out, Tone(out.SampleRate(), level), ToneSeconds+tailSeconds)
	if err != nil {
		return s, err
	}
	s.Lost += lost
	s.Tone = FindTone(x, room.end, src.SampleRate())
	if o, ok := out.(interface{ Underruns() int64 }); ok {
		s.Underruns = o.Underruns()
	}
	if in, out := latency(src), latency(out); in > 0 && out > 0 {
		s.Latency = in + out
	}
	return s, nil
}

// once plays a sound and returns what was captured from that moment on.
func once(ctx context.Context, src audio.Source, out audio.Sink, sound []float64, seconds float64) ([]float64, int64, error) {
	if err := listen.Freshly(ctx, src); err != nil {
		return nil, 0, err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	played := make(chan error, 1)
	go func() {
		err := out.Write(ctx, sound)
		if err == nil {
			err = out.Drain(ctx)
		}
		played <- err
	}()
	x, lost, err := record(ctx, src, seconds)
	if err != nil {
		stop()
		if other := <-played; other != nil && !errors.Is(other, context.Canceled) {
			err = fmt.Errorf("the loudspeaker: %w", other)
		}
		return nil, lost, err
	}
	if err := <-played; err != nil {
		return nil, lost, fmt.Errorf("the loudspeaker: %w", err)
	}
	return x, lost, nil
}

// record captures so many seconds; what was lost is silence in it, so that time
// goes on, and is counted.
func record(ctx context.Context, src audio.Source, seconds float64) (x []float64, lost int64, err error) {
	want := int(seconds * float64(src.SampleRate()))
	x = make([]float64, 0, want)
	block := make([]float64, 1024)
	for len(x) < want {
		n, missing, err := src.Read(ctx, block)
		if err != nil {
			return nil, lost, fmt.Errorf("the microphone: %w", err)
		}
		lost += missing
		x = append(x, make([]float64, min(missing, int64(want-len(x))))...)
		x = append(x, block[:min(n, want-len(x))]...)
	}
	return x, lost, nil
}

// latency is what a driver states, 0 where it states none.
func latency(stream any) time.Duration {
	if s, ok := stream.(interface{ Latency() time.Duration }); ok {
		return s.Latency()
	}
	return 0
}
