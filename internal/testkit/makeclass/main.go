// Command makeclass makes the takes of an invented class as files, to try a class of any size
// with: a roster, a command a task, and recordings in the formats that phones send.
//
//	go run ./internal/testkit/makeclass -out FOLDER [-students 30] [-tasks 8] [-notes 14] [-formats wav,flac,opus,mp3]
//
// Formats but WAV want the program of that name (flac, opusenc, lame).
package main

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"singback/internal/audio"
	"singback/internal/testkit/invented"
)

func main() {
	out := flag.String("out", "", "the `FOLDER` to make")
	students := flag.Int("students", 30, "how many students")
	tasks := flag.Int("tasks", 8, "how many tasks")
	notes := flag.Int("notes", 14, "how many notes a line has; a note takes 0.7 s")
	formats := flag.String("formats", "wav", "the formats, in turn, parted by commas: wav, flac, opus, mp3, m4a")
	rate := flag.Int("rate", 16000, "samples a second")
	flag.Parse()
	if err := run(*out, *students, *tasks, *notes, *rate, strings.Split(*formats, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "makeclass:", err)
		os.Exit(1)
	}
}

func run(out string, students, tasks, notes, rate int, formats []string) error {
	if out == "" {
		return fmt.Errorf("-out is missing")
	}
	takes := filepath.Join(out, "takes")
	if err := os.MkdirAll(takes, 0o777); err != nil {
		return err
	}
	roster, err := os.Create(filepath.Join(out, "students.csv"))
	if err != nil {
		return err
	}
	w := csv.NewWriter(roster)
	w.Write([]string{"name", "consent"})
	for i := range students {
		w.Write([]string{invented.StudentName(i), "2026-09-01"})
	}
	w.Flush()
	if err := roster.Close(); err != nil {
		return err
	}
	var script strings.Builder
	script.WriteString("singback class new Invented\nsingback class add student --roster students.csv\n")
	for i := range tasks {
		names, _ := invented.ClassTask(i, notes)
		fmt.Fprintf(&script, "singback class add task \"week %d\" --model \"%s\"\n", i+1, names)
	}
	if err := os.WriteFile(filepath.Join(out, "make.sh"), []byte(script.String()), 0o777); err != nil {
		return err
	}
	truth, err := os.Create(filepath.Join(out, "planted.csv"))
	if err != nil {
		return err
	}
	t := csv.NewWriter(truth)
	t.Write([]string{"student", "task", "planted", "note"})
	jobs := make(chan int)
	list := invented.Class(students, tasks, notes, 1)
	var failed error
	var mu sync.Mutex
	var group sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range jobs {
				one := list[i]
				name := fmt.Sprintf("week %d %s", one.Task+1, invented.StudentName(one.Student))
				if err := write(takes, name, formats[i%len(formats)], rate, one.Samples(rate)); err != nil {
					mu.Lock()
					failed = err
					mu.Unlock()
				}
			}
		})
	}
	for i, one := range list {
		jobs <- i
		t.Write([]string{invented.StudentName(one.Student), fmt.Sprintf("week %d", one.Task+1), one.Planted.String(), fmt.Sprint(one.At + 1)})
	}
	close(jobs)
	group.Wait()
	t.Flush()
	if err := truth.Close(); err != nil {
		return err
	}
	return failed
}

// write writes a take in a format.
func write(folder, name, format string, rate int, x []float64) error {
	var wav bytes.Buffer
	if err := audio.WriteWAV(&wav, rate, x); err != nil {
		return err
	}
	to := filepath.Join(folder, name+"."+format)
	var cmd *exec.Cmd
	switch format {
	case "wav":
		return os.WriteFile(to, wav.Bytes(), 0o666)
	case "flac":
		cmd = exec.Command("flac", "--silent", "-f", "-", "-o", to)
	case "opus":
		cmd = exec.Command("opusenc", "--quiet", "--bitrate", "24", "-", to)
	case "mp3":
		cmd = exec.Command("lame", "--quiet", "--resample", "44.1", "-b", "64", "-", to)
	case "m4a":
		cmd = exec.Command("ffmpeg", "-v", "error", "-y", "-i", "-", "-b:a", "64k", to)
	default:
		return fmt.Errorf("%q is no format that is known", format)
	}
	cmd.Stdin = io.Reader(&wav)
	if b, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w: %s", cmd.Path, err, bytes.TrimSpace(b))
	}
	return nil
}
