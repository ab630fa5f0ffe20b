//go:build unix

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/store"
	"singback/pitch"
)

// fastRate is the sample rate of sound that nobody hears, in hertz.
const fastRate = 16000

// fast runs sing, series and today in turn with the simulated singer, as fast as the
// machine can, until so many hours of sound have been played and heard; its clock is
// the sound's. Every round of the three is on another day. It looks once an hour of
// sound, and all answers go into one record.
type fast struct {
	record   string
	now      time.Time // when the run began that goes on
	sound    float64   // seconds, of the runs that have ended
	run      float64   // of the one that goes on
	judged   int       // answers
	within   float64   // MB in use after a collection at the end of the last run, which is still there
	choosing float64   // milliseconds to read the record and plan the last sitting
	seed     uint64

	// Of a round: questions, lines, minutes of today.
	questions, lines int
	minutes          float64

	looks []fastLook
	cpu   float64 // seconds, at the last look
}

// fastLook is what was seen after an hour.
type fastLook struct {
	hours      float64
	within     float64 // MB of heap at the end of a run, as in fast
	heap, rss  float64 // MB, after a collection, between runs
	goroutines int
	files      int
	asked      int
	each       float64 // milliseconds of processor time for a question since the last look
	record     float64 // bytes a question
	today      float64 // milliseconds to choose and begin the last sitting, with all answers read
}

func newFast(folder string, seed uint64) *fast {
	return &fast{record: filepath.Join(folder, "fast.db"), now: time.Date(2026, 1, 1, 18, 0, 0, 0, time.UTC), seed: seed, questions: 60, lines: 8, minutes: 10}
}

// accelerated runs so many hours of sound, and says what grew.
func accelerated(hours float64, seed uint64) error {
	folder, err := os.MkdirTemp("", "singback-soak.")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	f := newFast(folder, seed)
	began := time.Now()
	if err := f.hours(context.Background(), hours, min(1, hours/8)); err != nil {
		return err
	}
	fmt.Printf("%.2f h of sound in %.1f min, %.0f s of processor time\n", f.sound/3600, time.Since(began).Minutes(), processor())
	return f.grown()
}

// hours runs until so many hours of sound; it looks every so many.
func (f *fast) hours(ctx context.Context, hours, every float64) error {
	f.cpu = processor()
	fmt.Println(strings.Join(fastHeadings, "\t"))
	for f.sound < hours*3600 {
		for _, plan := range []func(context.Context) (*drill.Plan, error){f.sing, f.series, f.today} {
			f.seed++
			p, err := plan(ctx)
			if err == nil {
				err = f.drill(ctx, p)
			}
			if err != nil {
				return err
			}
			if f.sound >= every*3600*float64(len(f.looks)+1) {
				f.look()
			}
		}
		f.now = f.now.Truncate(24 * time.Hour).Add(42 * time.Hour) // the next evening
	}
	return nil
}

func music(key string) *drill.Music {
	return &drill.Music{Key: key, A4: 440, Tuning: "equal", Names: "movable"}
}

func manner() drill.Manner {
	return drill.Manner{Setting: "cadence", Think: 1, Window: exercise.DefaultWindow(), Loudness: -23, Compare: true, Retry: "never"}
}

func (f *fast) sing(context.Context) (*drill.Plan, error) {
	o := &drill.Sing{Music: music("random"), Manner: manner(), Degrees: "all", Count: f.questions, KeyEvery: 5, Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance}, Seed: f.seed}
	return o.Plan()
}

func (f *fast) series(context.Context) (*drill.Plan, error) {
	o := &drill.Series{Music: music(""), Level: 1 + int(f.seed%5), Count: f.lines, Tolerance: exercise.DefaultTolerance, Setting: "cadence", Loudness: -23, Seed: f.seed}
	return o.Plan()
}

func (f *fast) today(ctx context.Context) (*drill.Plan, error) {
	began := processor()
	defer func() { f.choosing = 1000 * (processor() - began) }()
	r, err := store.ReadRecord(f.record)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	known, _, err := r.Practice(ctx, store.DefaultName)
	if err != nil {
		return nil, err
	}
	o := &drill.Today{
		Music: music(""), Manner: manner(), Singing: 120, Feedback: "fading", Guess: true, Seed: f.seed,
		Course: course.BuiltIn(), Practice: known, Start: f.now, Typed: true,
	}
	o.Course.Minutes = f.minutes
	return o.Plan()
}

// drill runs a plan.
func (f *fast) drill(ctx context.Context, p *drill.Plan) error {
	record, err := store.OpenRecord(f.record, f.now)
	if err != nil {
		return err
	}
	k := &drill.Keeper{Record: record, Session: store.NewSession(store.DefaultName, p.Command, string(drill.BySimulation), p.Seed, pitch.Version, f.now)}
	defer k.Close()
	f.run = 0
	r := &drill.Run{
		Plan: p, Style: report.Style{Names: p.Naming}, Answers: drill.NewSimulated(p, fastRate), Out: audio.Null{Rate: fastRate},
		Level: func() float64 { return p.Loudness }, Person: drill.Nobody{}, Keeper: k,
		Start: f.now, Clock: func() time.Time { return f.now.Add(time.Duration(f.run * float64(time.Second))) },
	}
	var trouble error
	r.NotRecorded = func(err error) string {
		trouble = err
		return err.Error()
	}
	out := json.NewEncoder(io.Discard)
	r.Show = func(e session.Event) {
		switch e := e.(type) {
		case session.Judged:
			f.run, f.judged = e.Seconds, f.judged+1
		case session.Named:
			f.run, f.judged = e.Seconds, f.judged+1
		case session.LineSung:
			f.run, f.judged = e.Seconds, f.judged+1
		case session.Finished:
			f.within = heap()
		}
		if record := r.EventRecord(e); record != nil && trouble == nil {
			trouble = out.Encode(record)
		}
	}
	if _, err := r.Do(ctx); err != nil {
		return err
	}
	f.sound += f.run
	f.now = f.now.Add(time.Duration(f.run * float64(time.Second)))
	return trouble
}

func (f *fast) look() {
	l := fastLook{
		hours: f.sound / 3600, within: f.within, heap: heap(), rss: resident(), goroutines: runtime.NumGoroutine(), files: descriptors(), asked: f.judged,
	}
	before := 0
	if n := len(f.looks); n > 0 {
		before = f.looks[n-1].asked
	}
	cpu := processor()
	l.each = 1000 * (cpu - f.cpu) / float64(max(1, f.judged-before))
	if info, err := os.Stat(f.record); err == nil {
		l.record = float64(info.Size()) / float64(max(1, f.judged))
	}
	l.today = f.choosing
	f.cpu, f.looks = cpu, append(f.looks, l)
	fmt.Println(strings.Join(l.cells(), "\t"))
}

// heap is what is in use after a collection, in MB.
func heap() float64 {
	runtime.GC()
	runtime.GC() // what had a finaliser
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / 1e6
}

var fastHeadings = []string{"sound_h", "heap_in_drill_mb", "heap_mb", "rss_mb", "goroutines", "files", "questions", "cpu_ms_each", "record_bytes_each", "begin_today_ms"}

func (l fastLook) cells() []string {
	return []string{
		fmt.Sprintf("%.2f", l.hours), fmt.Sprintf("%.2f", l.within), fmt.Sprintf("%.2f", l.heap), fmt.Sprintf("%.1f", l.rss), fmt.Sprint(l.goroutines), fmt.Sprint(l.files),
		fmt.Sprint(l.asked), fmt.Sprintf("%.1f", l.each), fmt.Sprintf("%.0f", l.record), fmt.Sprintf("%.0f", l.today),
	}
}

// grown says what grew from the first hour to the last that must not; nil where nothing did.
func (f *fast) grown() error {
	first, last := f.looks[0], f.looks[len(f.looks)-1]
	switch {
	case last.heap > first.heap+1, last.within > first.within+4:
		return fmt.Errorf("the heap grew from %.2f to %.2f MB, within a drill from %.2f to %.2f MB", first.heap, last.heap, first.within, last.within)
	case last.goroutines > first.goroutines, last.files > first.files:
		return fmt.Errorf("goroutines went from %d to %d, descriptors from %d to %d", first.goroutines, last.goroutines, first.files, last.files)
	case last.record > 1.1*first.record:
		return fmt.Errorf("the record took %.0f bytes a question at first, and %.0f at last", first.record, last.record)
	}
	return nil
}

// processor is the time that this process has computed, in seconds.
func processor() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano()).Seconds()
}
