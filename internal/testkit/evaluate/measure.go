package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"singback/internal/review"
	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
	"singback/pitch"
)

// column is everything measured of one program. What could not be measured is
// nil, or NaN.
type column struct {
	name string
	note string // how it runs
	err  error  // why it did not

	frames   map[hardset.Condition][]metrics.Frame
	notes    map[hardset.Condition][2]metrics.Matched // onset; onset and pitch
	steady   map[float64][]float64                    // by SNR: |cents| of every frame, +Inf where not voiced
	scaled   []float64                                // |error| in standard errors, steady notes in noise
	latency  []latency
	locks    []latency                  // of the third voices' grid
	held     *heldNotes                 // ours
	vibrato  *thirdVibrato              // ours
	voices   map[string][]metrics.Frame // of the third voices, by kind
	final    float64                    // ms
	sight    []metrics.Matched
	single   []float64 // |cents| from the agreeing trackers
	right    int       // single notes
	wrong    []string  // single notes
	speed    float64
	allocs   float64
	growth   float64
	memoryOf float64 // minutes
}

// latency is the time from the start of a steady note of hz until the program
// has it for good, in ms; +Inf if it never does.
type latency struct{ hz, ms float64 }

// results is a whole run.
type results struct {
	options
	columns []*column
	seconds float64 // of the hard set
	singing float64 // seconds of real singing
	singles int
}

// sounds is what is measured on.
type sounds struct {
	items  []hardset.Item // without their samples
	clips  []clip
	grid   []hardset.Item
	snrs   []float64 // of the grid's items
	grids  []clip
	real   []melody
	voices []voice
	single []single
	halves []hardset.Half
	sparse int    // every so many of the held notes
	long   string // a recording to time programs on
	length float64
}

// longest is how much sound the programs are timed on, in seconds.
const longest = 180.0

// render writes all sounds to dir.
func render(o options, dir string) (*sounds, error) {
	s := &sounds{long: filepath.Join(dir, "long.wav")}
	limit, sparse, recordings, most := 0, 1, 0, longest
	if o.quick {
		limit, sparse, recordings, most = 1, 6, 4, longest/6
	}
	s.halves, s.sparse = o.halves, sparse
	const longRate = 44100
	var long []float64
	for _, half := range o.halves {
		for it := range hardset.Items(half, limit) {
			c, err := save(dir, fmt.Sprintf("%v-%03d", half, len(s.clips)), it)
			if err != nil {
				return nil, err
			}
			if it.Rate == longRate && float64(len(long)) < most*longRate {
				long = append(long, it.Samples...)
			}
			it.Samples = nil
			s.items, s.clips = append(s.items, it), append(s.clips, c)
		}
		for _, snr := range hardset.SNRs {
			for it := range hardset.Grid(half, snr, sparse) {
				c, err := save(dir, fmt.Sprintf("%v-grid-%03d", half, len(s.grids)), it)
				if err != nil {
					return nil, err
				}
				it.Samples = nil
				s.grid, s.snrs, s.grids = append(s.grid, it), append(s.snrs, snr), append(s.grids, c)
			}
		}
	}
	s.length = float64(len(long)) / longRate
	if err := saveWAV(s.long, longRate, long); err != nil {
		return nil, err
	}
	if o.reference == "" {
		return s, nil
	}
	var err error
	if s.real, err = sightSinging(o.reference, recordings); err != nil {
		return nil, err
	}
	if s.single, err = singleNotes(o.reference); err != nil {
		return nil, err
	}
	if s.voices, err = readVoices(o.reference); err != nil {
		return nil, err
	}
	// Programs leave their tracks beside the recordings, so they get copies.
	for i := range s.real {
		if err := s.real[i].copyTo(dir); err != nil {
			return nil, err
		}
	}
	for i := range s.voices {
		if err := s.voices[i].copyTo(dir); err != nil {
			return nil, err
		}
	}
	for i := range s.single {
		if err := s.single[i].copyTo(dir); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// copyTo makes the clip one in dir, and reads its rate and length.
func (c *clip) copyTo(dir string) error {
	samples, rate, err := readWAV(c.path)
	if err != nil {
		return err
	}
	c.path = filepath.Join(dir, filepath.Base(c.path))
	c.rate, c.seconds = rate, float64(len(samples))/float64(rate)
	return saveWAV(c.path, rate, samples)
}

// measure runs every program on every sound.
func measure(o options, dir string, say func(string, ...any)) (*results, error) {
	say("making the sounds")
	s, err := render(o, dir)
	if err != nil {
		return nil, err
	}
	r := &results{options: o, singles: len(s.single)}
	for _, c := range s.clips {
		r.seconds += c.seconds
	}
	for _, c := range s.grids {
		r.seconds += c.seconds
	}
	for _, m := range s.real {
		r.singing += m.seconds
	}
	if o.reference == "" {
		say("no folder of reference data (-reference, SINGBACK_REFERENCE): real singing is left out")
	}
	// The programs run beside each other, one a processor, until the clock
	// matters.
	var there []*column
	for _, name := range o.tools {
		c := &column{name: name, speed: math.NaN(), final: math.NaN(), allocs: math.NaN(), growth: math.NaN()}
		r.columns = append(r.columns, c)
		t := newTool(name)
		if c.note, c.err = t.installed(); c.err != nil {
			say("%s: %v", name, c.err)
			continue
		}
		there = append(there, c)
	}
	err = review.Each(context.Background(), len(there), func(_ context.Context, i int) (struct{}, error) {
		say("%s", there[i].name)
		return struct{}{}, there[i].accuracy(newTool(there[i].name), s, dir)
	}, func(i int, _ struct{}, err error) error {
		if err != nil {
			there[i].err = err
			say("%s: %v", there[i].name, err)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	say("speed and memory")
	for _, c := range r.columns {
		if c.err == nil {
			c.clock(newTool(c.name), s)
		}
	}
	for _, c := range r.columns {
		if c.name == "ours" {
			c.memoryOf = 10
			if o.quick {
				c.memoryOf = 2
			}
			if err := c.memory(); err != nil {
				return nil, err
			}
			if c.err != nil {
				return nil, c.err
			}
		}
	}
	return r, nil
}

// accuracy measures everything but speed and memory.
func (c *column) accuracy(t tool, s *sounds, dir string) error {
	tracks, err := t.tracks(dir, s.clips, false)
	if err != nil {
		return err
	}
	c.frames = map[hardset.Condition][]metrics.Frame{}
	c.notes = map[hardset.Condition][2]metrics.Matched{}
	for i, it := range s.items {
		c.frames[it.Condition] = append(c.frames[it.Condition], frames(it, tracks[i])...)
		if it.Condition.Nobody() {
			continue
		}
		found, err := sungNotes(t, s.clips[i], tracks[i])
		if err != nil {
			return err
		}
		var truth []metrics.Note
		for _, n := range it.Notes {
			truth = append(truth, metrics.Note(n))
		}
		m := c.notes[it.Condition]
		m[0].Add(metrics.Compare(truth, found, metrics.OnsetWithin(0.05)))
		m[1].Add(metrics.Compare(truth, found, metrics.OnsetWithin(0.05), metrics.PitchWithin(50)))
		c.notes[it.Condition] = m
	}
	if tracks, err = t.tracks(dir, s.grids, false); err != nil {
		return err
	}
	c.steady = map[float64][]float64{}
	for i, it := range s.grid {
		errors, scaled := steadyErrors(it, tracks[i])
		c.steady[s.snrs[i]] = append(c.steady[s.snrs[i]], errors...)
		if !math.IsInf(s.snrs[i], 1) {
			c.scaled = append(c.scaled, scaled...)
		}
	}
	if err := c.live(t, s, dir); err != nil {
		return err
	}
	if _, own := t.(ours); own {
		if err := c.manners(s.halves, s.sparse); err != nil {
			return err
		}
	}
	if err := c.thirdVoices(t, s, dir); err != nil {
		return err
	}
	return c.singing(t, s, dir)
}

// inside is how far from either end of a steady note the precision is measured,
// in seconds: beyond the windows of all.
const inside = 0.060

// steadyErrors are the distances in cents at every reading well inside the
// note; +Inf where there is none or it is not voiced. scaled are those that are
// voiced, in standard errors where the program tells them.
func steadyErrors(it hardset.Item, track []reading) (errors, scaled []float64) {
	n := it.Notes[0]
	for _, r := range track {
		if r.at < n.Onset+inside || r.at > n.Offset-inside {
			continue
		}
		e := math.Inf(1)
		if r.voiced {
			e = math.Abs(metrics.Cents(r.hz) - metrics.Cents(n.Hz))
			if r.se > 0 {
				scaled = append(scaled, e/r.se)
			}
		}
		errors = append(errors, e)
	}
	for expected := int((n.Offset - n.Onset - 2*inside) / step); len(errors) < expected; {
		errors = append(errors, math.Inf(1))
	}
	return errors, scaled
}

// live measures latency on the grid's notes at 20 dB.
func (c *column) live(t tool, s *sounds, dir string) error {
	var items []hardset.Item
	var clips []clip
	for i, it := range s.grid {
		if s.snrs[i] == 20 {
			items, clips = append(items, it), append(clips, s.grids[i])
		}
	}
	tracks, err := t.tracks(dir, clips, true)
	if err == errNotLive {
		return nil
	}
	if err != nil {
		return err
	}
	c.final = 0
	for i, track := range tracks {
		for _, r := range track {
			c.final = max(c.final, 1000*(r.ready-r.at))
		}
		c.latency = append(c.latency, lock(metrics.Note(items[i].Notes[0]), track))
	}
	return nil
}

// singing measures notes of real people.
func (c *column) singing(t tool, s *sounds, dir string) error {
	if len(s.real) == 0 {
		return nil
	}
	var clips []clip
	for _, m := range s.real {
		clips = append(clips, m.clip)
	}
	tracks, err := t.tracks(dir, clips, false)
	if err != nil {
		return err
	}
	c.sight = make([]metrics.Matched, 3)
	for i, m := range s.real {
		found, err := sungNotes(t, m.clip, tracks[i])
		if err != nil {
			return err
		}
		onset, pitch, offset := metrics.OnsetWithin(0.05), metrics.PitchWithin(50), metrics.OffsetWithin(0.2, 0.05)
		c.sight[0].Add(metrics.Compare(m.notes, found, onset))
		c.sight[1].Add(metrics.Compare(m.notes, found, onset, pitch))
		c.sight[2].Add(metrics.Compare(m.notes, found, onset, pitch, offset))
	}
	clips = clips[:0]
	for _, n := range s.single {
		clips = append(clips, n.clip)
	}
	if tracks, err = t.tracks(dir, clips, false); err != nil {
		return err
	}
	for i, n := range s.single {
		cents, ok, err := n.answer(t, tracks[i])
		if err != nil {
			return err
		}
		if ok && math.Abs(cents) <= 50 {
			c.right++
		} else {
			c.wrong = append(c.wrong, filepath.Base(n.path))
		}
		if ok && n.agree {
			c.single = append(c.single, math.Abs(cents-n.cents))
		}
	}
	return nil
}

// clock times the program on one long recording: processor time of the whole
// program, its start included, the better of two runs, on one processor.
func (c *column) clock(t tool, s *sounds) {
	for range 2 {
		cmd := t.command(s.long)
		if cmd == nil {
			return
		}
		cmd.Env = append(os.Environ(), "GOMAXPROCS=1")
		if err := cmd.Run(); err != nil {
			return
		}
		used := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
		c.speed = nanMax(c.speed, s.length/max(used, time.Millisecond).Seconds())
	}
}

func nanMax(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	return max(a, b)
}

// memory runs a live session and counts what it allocates once it is warm.
func (c *column) memory() error {
	const rate, push = 44100, 256
	cfg := configure(rate, nil, true, false)
	t, err := pitch.NewTracker(cfg)
	if err != nil {
		return err
	}
	s, err := pitch.NewSegmenter(cfg)
	if err != nil {
		return err
	}
	var sound []float64
	for it := range hardset.Items(hardset.Dev, 1) {
		if it.Rate == rate {
			sound = append(sound, it.Samples...)
		}
		if len(sound) > 20*rate {
			break
		}
	}
	points, notes := make([]pitch.Point, 0, 64), make([]pitch.Note, 0, 64)
	at, pushes := 0, 0
	session := func(minutes float64) {
		for range int(minutes * 60 * rate / push) {
			if at+push > len(sound) {
				at = 0
			}
			points = t.Push(points[:0], sound[at:at+push])
			notes = s.Push(notes[:0], points)
			at += push
			pushes++
		}
	}
	var before, after runtime.MemStats
	session(1)
	runtime.GC()
	runtime.ReadMemStats(&before)
	pushes = 0
	session(c.memoryOf - 1)
	runtime.ReadMemStats(&after)
	c.allocs = float64(after.Mallocs-before.Mallocs) / float64(pushes)
	if c.allocs < 1e-3 { // the runtime's own
		c.allocs = 0
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	c.growth = math.Max(0, float64(after.HeapAlloc)-float64(before.HeapAlloc)) / 1024
	runtime.KeepAlive(t)
	runtime.KeepAlive(s)
	return nil
}

// all are the frames of the given conditions, or of every one.
func (c *column) all(conditions ...hardset.Condition) []metrics.Frame {
	if len(conditions) == 0 {
		conditions = slices.Sorted(maps.Keys(c.frames))
	}
	var out []metrics.Frame
	for _, k := range conditions {
		out = append(out, c.frames[k]...)
	}
	return out
}
