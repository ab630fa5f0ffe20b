package doctor

import (
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
)

// cable is a loudspeaker and a microphone that hears it: what is written at a moment
// arrives after delay, at gain, beside noise. Time is that of a synctest bubble.
type cable struct {
	mu     sync.Mutex
	rate   int
	start  time.Time
	read   int       // samples given so far
	played []float64 // by when they arrive, from start
	end    int       // of what has been written

	delay      time.Duration
	gain       float64
	noise      []float64
	lose       int   // this sample and 479 after it are lost, as the driver says; 0: none
	fail, deaf error // of Write and of Read
}

func (c *cable) SampleRate() int        { return c.rate }
func (c *cable) Close() error           { return nil }
func (c *cable) Latency() time.Duration { return c.delay / 2 }
func (c *cable) Underruns() int64       { return 3 }
func (c *cable) at(d time.Duration) int { return int(d.Seconds()*float64(c.rate) + .5) }
func (c *cable) now() int               { return c.at(time.Since(c.start)) }
func (c *cable) Drain(context.Context) error {
	time.Sleep(time.Duration(c.end-c.now()) * time.Second / time.Duration(c.rate))
	return nil
}

func (c *cable) Write(_ context.Context, samples []float64) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fail != nil {
		return c.fail
	}
	from := max(c.end, c.now()+c.at(c.delay))
	c.end = from + len(samples)
	c.played = append(c.played, make([]float64, max(0, c.end-len(c.played)))...)
	copy(c.played[from:], samples)
	return nil
}

// Skip forgets what has arrived.
func (c *cable) Skip() int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := c.now() - c.read
	c.read = max(c.read, c.now())
	return int64(max(0, n))
}

func (c *cable) Read(ctx context.Context, dst []float64) (n int, lost int64, err error) {
	if c.deaf != nil {
		return 0, 0, c.deaf
	}
	dst = dst[:min(len(dst), c.rate/100)]
	if wait := c.read + len(dst) - c.now(); wait > 0 {
		time.Sleep(time.Duration(wait) * time.Second / time.Duration(c.rate))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.lose > 0 && c.read >= c.lose {
		c.lose, lost = 0, 480
		c.read += 480
	}
	for i := range dst {
		dst[i] = c.noise[c.read%len(c.noise)]
		if c.read < len(c.played) {
			dst[i] += c.gain * c.played[c.read]
		}
		c.read++
	}
	return len(dst), lost, ctx.Err()
}

func TestPlay(t *testing.T) {
	for _, c := range []struct {
		name  string
		cable *cable
		want  func(t *testing.T, r Room, s Sounded, err error)
	}{
		{"heard back", &cable{delay: 80 * time.Millisecond, gain: .1}, func(t *testing.T, r Room, s Sounded, err error) {
			if err != nil || s.Heard != 3 || math.Abs(s.Echo.Level+20) > .5 || math.Abs(s.Echo.Delay-.08) > .002 || s.Scatter > .001 {
				t.Errorf("%+v, %v; want -20 dB after 80 ms", s, err)
			}
			if !s.Tone.Judged || len(s.Tone.Dropouts) > 0 || math.Abs(s.Tone.Level+44) > .5 || s.short() || s.Latency != 80*time.Millisecond || s.Underruns != 3 {
				t.Errorf("%+v; want a whole tone at -44 dBFS", s)
			}
			for _, k := range s.Comes() {
				if k.Name == "dropouts" && k.State != Well || k.State == Fails {
					t.Errorf("%+v", k)
				}
			}
		}},
		{"headphones", &cable{delay: 80 * time.Millisecond}, func(t *testing.T, r Room, s Sounded, err error) {
			if err != nil || s.Heard != 0 || s.Echo.Heard || s.Tone.Heard || s.Tone.Judged {
				t.Errorf("%+v, %v; want nothing heard", s, err)
			}
			if k := s.Comes()[0]; k.State != Note {
				t.Errorf("%+v", k)
			}
			if k := s.Comes()[1]; k.State != LeftOut {
				t.Errorf("%+v", k)
			}
		}},
		// The tone begins 0.3 s + 3 s + three times 1.5 s after the opening.
		{"the driver loses samples", &cable{delay: 80 * time.Millisecond, gain: .1, lose: 12 * 48000}, func(t *testing.T, r Room, s Sounded, err error) {
			if err != nil || s.Lost != 480 || len(s.Tone.Dropouts) != 1 || math.Abs(s.Tone.Dropouts[0].Length-.01) > .005 {
				t.Errorf("%+v, %v; want a gap of 10 ms, and 480 samples lost", s, err)
			}
			if k := s.Comes()[1]; k.State != Fails {
				t.Errorf("%+v", k)
			}
			if k := s.Comes()[2]; k.State != Note {
				t.Errorf("%+v", k)
			}
		}},
		{"the loudspeaker goes", &cable{delay: 80 * time.Millisecond, fail: audio.ErrStalled}, func(t *testing.T, r Room, s Sounded, err error) {
			if !errors.Is(err, audio.ErrStalled) {
				t.Errorf("%v", err)
			}
			if k := Silent(err); k.State != Fails || k.Do == nil {
				t.Errorf("%+v", k)
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				k := c.cable
				k.rate, k.start, k.noise = 48000, time.Now(), hiss(48000, -70, 4)
				r, err := ListenRoom(t.Context(), k)
				if err != nil || r.Deaf() || math.Abs(r.Noise.Floor+70) > 1 || r.Noise.Hum != 0 || r.Lost != 0 || r.Clipped || r.Rate != 48000 {
					t.Fatalf("the room: %+v, %v; want noise of -70 dBFS", r, err)
				}
				if k := Hears(r, false, nil); k.State != Well {
					t.Errorf("%+v", k)
				}
				s, err := Play(t.Context(), k, k, r, -24)
				c.want(t, r, s, err)
			})
		})
	}
}

// The room: silence to the last bit, hum of either mains, a gone microphone.
func TestListenRoom(t *testing.T) {
	room := func(t *testing.T, k *cable) (r Room, err error) {
		synctest.Test(t, func(t *testing.T) {
			k.rate, k.start = 48000, time.Now()
			r, err = ListenRoom(t.Context(), k)
		})
		return r, err
	}
	r, err := room(t, &cable{noise: make([]float64, 48000)})
	if err != nil || !r.Deaf() || Hears(r, false, nil).State != Fails || Hears(r, true, nil).State != Note {
		t.Errorf("digital silence: %+v, %v", r, err)
	}
	for _, mains := range []float64{50, 60} {
		x := hiss(48000, -80, 3)
		for i := range x {
			for h, a := range []float64{1, .5, .3, .2} {
				x[i] += .004 * a * math.Sin(2*math.Pi*mains*float64(h+1)*float64(i)/48000)
			}
		}
		// .004·√(1+.25+.09+.04)/√2 is −49.6 dBFS.
		r, err := room(t, &cable{noise: x})
		if err != nil || r.Noise.Hum != mains || math.Abs(r.Noise.HumLevel+49.6) > 1 {
			t.Errorf("%g Hz: %+v, %v; want its hum at -49.6 dBFS", mains, r.Noise, err)
		}
		if k := Hum(r); k.State != Note || k.Do == nil {
			t.Errorf("%g Hz: %+v", mains, k)
		}
	}
	if _, err := room(t, &cable{noise: []float64{0}, deaf: audio.ErrStalled}); !errors.Is(err, audio.ErrStalled) {
		t.Errorf("a microphone that is gone: %v", err)
	} else if k := Hears(Room{}, false, err); k.State != Fails || k.Do == nil {
		t.Errorf("%+v", k)
	}
}
