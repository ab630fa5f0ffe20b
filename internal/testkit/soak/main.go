//go:build unix

// Soak runs the drill for hours through PortAudio and a sound server, with a singer
// whose answers are played into the virtual microphone, and watches what grows, what
// is lost, and whether the count of samples and the clock part.
//
//	internal/device/virtualmic/with-virtual-mic go run ./internal/testkit/soak -hours 1
//
// It runs sing for two thirds of the time in one piece, so that its streams stay open,
// then series and today. A line is printed every minute; at the end a table is kept
// with -results. The drill runs inside of this program, as the command line runs it:
// what it takes is what the process takes, with the singer. The exit status is 1 where
// a bound was missed.
package main

import (
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"singback/internal/cli"
	"singback/internal/device"
	"singback/internal/testkit"
)

func main() {
	if device.ServeProbe(os.Args[1:], os.Stdout) {
		return
	}
	hours := flag.Float64("hours", 1, "how long, in hours")
	every := flag.Duration("every", time.Minute, "how often to look")
	results := flag.String("results", "", "keep the table in this folder")
	date := flag.String("date", "", "the day in the name of its file, like 2026-11-29")
	seed := flag.Uint64("seed", 1, "what is asked and sung")
	kill := flag.Duration("kill", 0, "kill the sound server this often, and start it again 3 s later; 0: never")
	simulated := flag.Bool("simulated", false, "hours of sound instead, of the simulated singer, as fast as the machine can")
	flag.Parse()
	if *simulated {
		if err := accelerated(*hours, *seed); err != nil {
			fmt.Fprintln(os.Stderr, "soak:", err)
			os.Exit(1)
		}
		return
	}
	if err := soak(*hours, *every, *kill, *results, *date, *seed); err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
}

// share is which drill gets how much of the time, and its arguments.
var share = []struct {
	of   float64
	args []string
}{
	{4. / 6, []string{"sing", "--key", "random", "--count", "1000", "--retry", "never"}},
	{1. / 6, []string{"series", "--free", "--study", "0", "--level", "1", "--count", "1000"}},
	{1. / 6, []string{"today", "--minutes", "30", "--singing", "120", "--retry", "never"}},
}

func soak(hours float64, every, kill time.Duration, results, date string, seed uint64) error {
	if os.Getenv("SINGBACK_VIRTUAL_MIC") != "1" {
		return fmt.Errorf("there is no virtual microphone: run it with internal/device/virtualmic/with-virtual-mic")
	}
	folder, err := os.MkdirTemp("", "singback-soak.")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	os.Setenv("XDG_DATA_HOME", folder)
	record := filepath.Join(folder, "soak.db")
	s := newSinger(seed)
	defer s.wait()
	w := &watch{began: time.Now(), record: record, singer: s}
	fmt.Println(strings.Join(headings, "\t"))
	stop := make(chan struct{})
	defer w.kills(kill, stop)()
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			w.look()
			select {
			case <-tick.C:
			case <-stop:
				return
			}
		}
	}()
	total := time.Duration(hours * float64(time.Hour))
	goes := true
	for _, d := range share {
		until := time.Now().Add(time.Duration(d.of * float64(total)))
		for ; goes && time.Now().Before(until); seed++ {
			goes = w.drill(d.args, record, seed, until)
		}
	}
	close(stop)
	<-watched
	w.look()
	text := w.report(hours)
	fmt.Print("\n", text)
	if results != "" {
		day := time.Now()
		if date != "" {
			if day, err = time.Parse(time.DateOnly, date); err != nil {
				return err
			}
		}
		path, err := testkit.Result{
			Name: "soak", Title: "A long run of the drill through the virtual microphone",
			Make: fmt.Sprintf("make soak HOURS=%g", hours), Text: text,
		}.Keep(results, day, testkit.Commit())
		if err != nil {
			return err
		}
		fmt.Println("\nkept in", path)
	}
	return w.missed()
}

// drill runs one drill until it ends, or until it is time and it is interrupted as a
// user would; false where the user did.
func (w *watch) drill(args []string, record string, seed uint64, until time.Time) (goes bool) {
	w.run(strings.Join(args[:1], " "))
	args = append(append([]string{}, args...), "--input", "mic", "--output", "speaker", "--format", "json",
		"--record", record, "--seed", fmt.Sprint(seed))
	events, out := io.Pipe()
	read := make(chan struct{})
	go func() {
		defer close(read)
		w.singer.follow(events)
	}()
	told := &said{singer: w.singer}
	interrupted := make(chan os.Signal, 1)
	signal.Notify(interrupted, os.Interrupt)
	defer signal.Stop(interrupted)
	interrupt := time.AfterFunc(time.Until(until), func() { syscall.Kill(os.Getpid(), syscall.SIGINT) })
	code := cli.Main(args, strings.NewReader(""), out, told)
	interrupt.Stop()
	out.Close()
	<-read
	if code != 0 {
		w.trouble(fmt.Sprintf("%s ended with %d after %.1f min: %s", args[0], code, time.Since(w.began).Minutes(), told.last()))
		time.Sleep(time.Second)
	}
	return len(interrupted) == 0 || !time.Now().Before(until)
}

// kills ends the sound server now and then until stop is closed, and starts it again. What
// it returns waits until that is over.
func (w *watch) kills(every time.Duration, stop <-chan struct{}) (wait func()) {
	if every == 0 {
		return func() {}
	}
	var over sync.WaitGroup
	over.Go(func() {
		pid := os.Getenv("SINGBACK_VIRTUAL_MIC_SERVER")
		for {
			select {
			case <-stop:
				return
			case <-time.After(every):
			}
			n, err := strconv.Atoi(strings.TrimSpace(pid))
			if err == nil && n > 1 {
				err = syscall.Kill(n, syscall.SIGKILL)
			}
			time.Sleep(3 * time.Second)
			started, e := exec.Command(os.Getenv("SINGBACK_VIRTUAL_MIC_START")).Output()
			if pid = string(started); err != nil || e != nil {
				w.trouble(fmt.Sprintf("the sound server could not be killed and started: %v, %v", err, e))
				return
			}
			w.mu.Lock()
			w.killed++
			w.mu.Unlock()
		}
	})
	return over.Wait
}

// bounds of a run.
const (
	mostDrift = 1.0  // seconds in an hour
	mostGrown = 0.25 // of the heap after collection, from a tenth of the run to its end
)

func (w *watch) missed() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	n := len(w.looks)
	first, last := w.looks[min(n-1, max(1, n/10))], w.looks[n-1]
	if grown := last.heap/first.heap - 1; grown > mostGrown && last.heap-first.heap > 4 {
		return fmt.Errorf("the heap grew from %.1f to %.1f MB", first.heap, last.heap)
	}
	for _, l := range w.looks {
		if math.Abs(l.drift) > mostDrift*max(1, last.minutes/60) {
			return fmt.Errorf("after %.0f min the samples and the clock are %.2f s apart", l.minutes, l.drift)
		}
	}
	if last.goroutines > first.goroutines+4 || last.files > first.files+4 {
		return fmt.Errorf("goroutines went from %d to %d, descriptors from %d to %d", first.goroutines, last.goroutines, first.files, last.files)
	}
	return nil
}
