//go:build unix

package main

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"sync"
	"time"

	"singback/internal/device"
)

// watch looks at the process now and then.
type watch struct {
	began  time.Time
	record string // the file of the practice record
	singer *singer

	mu       sync.Mutex
	running  string // which drill
	looks    []look
	troubles []string
	killed   int // how often the sound server was
}

// look is what was seen at one moment. Sizes are in MB.
type look struct {
	drill      string
	minutes    float64
	rss, heap  float64 // heap: what is in use after a collection
	goroutines int
	files      int // descriptors
	drift      float64
	dropped    int64   // samples
	unread     float64 // seconds, while the drill plays
	missed     int64
	inputs     int64
	record     float64
	tally      tally
}

var headings = []string{"min", "drill", "rss_mb", "heap_mb", "goroutines", "files", "drift_s", "dropped", "unread_s", "late_blocks", "streams", "record_kb", "questions", "right", "wrong", "unheard"}

func (l look) cells() []string {
	return []string{
		fmt.Sprintf("%.1f", l.minutes), l.drill, fmt.Sprintf("%.1f", l.rss), fmt.Sprintf("%.2f", l.heap), fmt.Sprint(l.goroutines), fmt.Sprint(l.files),
		fmt.Sprintf("%+.3f", l.drift), fmt.Sprint(l.dropped), fmt.Sprintf("%.0f", l.unread), fmt.Sprint(l.missed), fmt.Sprint(l.inputs), fmt.Sprintf("%.0f", 1000*l.record),
		fmt.Sprint(l.tally.asked), fmt.Sprint(l.tally.right), fmt.Sprint(l.tally.wrong), fmt.Sprint(l.tally.unheard),
	}
}

func (w *watch) run(drill string) {
	w.mu.Lock()
	w.running = drill
	w.mu.Unlock()
}

func (w *watch) trouble(line string) {
	w.mu.Lock()
	w.troubles = append(w.troubles, line)
	w.mu.Unlock()
	fmt.Println("#", line)
}

func (w *watch) look() {
	c := device.Counted()
	l := look{
		minutes: time.Since(w.began).Minutes(), rss: resident(), heap: heap(),
		goroutines: runtime.NumGoroutine(), files: descriptors(), drift: c.Drift(), dropped: c.Dropped, unread: float64(c.Unread) / rate, missed: c.Missed,
		inputs: c.Inputs, tally: w.singer.tally(),
	}
	if info, err := os.Stat(w.record); err == nil {
		l.record = float64(info.Size()) / 1e6
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	l.drill = w.running
	w.looks = append(w.looks, l)
	fmt.Println(strings.Join(l.cells(), "\t"))
}

// resident is the resident set in MB, of Linux; 0 elsewhere.
func resident() float64 {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	var size, pages float64
	fmt.Sscan(string(text), &size, &pages)
	return pages * float64(os.Getpagesize()) / 1e6
}

// descriptors is how many files are open, on Linux; 0 elsewhere.
func descriptors() int {
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(list)
}

// report is the table, ten rows of it and the last, and what went wrong.
func (w *watch) report(hours float64) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var b strings.Builder
	fmt.Fprintf(&b, "%.2f h in real time.\n\n| %s |\n|%s\n", time.Since(w.began).Hours(), strings.Join(headings, " | "), strings.Repeat(" --- |", len(headings)))
	step := max(1, len(w.looks)/12)
	for i, l := range w.looks {
		if i%step == 0 || i == len(w.looks)-1 {
			fmt.Fprintf(&b, "| %s |\n", strings.Join(l.cells(), " | "))
		}
	}
	last := w.looks[len(w.looks)-1]
	if t := last.tally; t.asked > 0 {
		fmt.Fprintf(&b, "\nThe record takes %.0f bytes a question. ", 1e6*last.record/float64(t.asked))
		fmt.Fprintf(&b, "Of %d single degrees %d were measured within 8 cents of what was sung, %d elsewhere, %d not at all (%s); of %d lines %d were heard.\n",
			t.degrees, t.right, t.wrong, t.unheard, t.reasons(), t.lines, t.heard)
		for _, line := range t.off {
			fmt.Fprintf(&b, "\n- %s", line)
		}
	}
	if w.killed > 0 {
		fmt.Fprintf(&b, "The sound server was killed %d times, and started again 3 s later.\n", w.killed)
	}
	for _, line := range w.troubles {
		fmt.Fprintf(&b, "\n- %s", line)
	}
	b.WriteString("\n")
	return b.String()
}
