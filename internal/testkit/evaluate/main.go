// Command evaluate measures the pitch tracker beside every reference program
// found on the machine: the same sounds, in one run, against exact truth.
//
//	go run ./internal/testkit/evaluate [flags]
//
// The rows of the table are the project's goals. The columns are ours and the
// references; a program that is not installed says so. The sounds are those of
// package hardset and, where the folder of reference data is given, real singing with
// annotations and the voices of a third synthesiser. One of the columns, yin, is our own plain YIN (by the
// paper), which shows what the tracker adds to it.
//
// What each program is asked for: a reading every 10 ms, with one fixed setting
// for everything. Ours runs with its defaults. The references run at the
// voicing thresholds that give them the highest overall accuracy on the dev
// half; -sweep looks for these again.
//
// Each program is judged at the moments of its own readings: the truth is known
// at every moment, so nothing is interpolated. Moments a program gives no
// reading for, every 10 ms, count as not voiced. Where a program gives a pitch
// that it does not call voiced, raw pitch accuracy counts it, as mir_eval does. Ours
// gives one only when asked: the rows of estimates ask, the others do not.
//
// Everything but the rows of speed and memory is the same in every run on one
// machine.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"singback/internal/testkit"
	"singback/internal/testkit/hardset"
)

// options are the flags.
type options struct {
	halves    []hardset.Half
	half      string
	quick     bool
	verbose   bool
	tools     []string
	format    string
	reference string
	results   string
}

func main() {
	if len(os.Args) == 3 && os.Args[1] == analyseFlag {
		if err := analyseFile(os.Args[2], os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, "evaluate:", err)
			os.Exit(1)
		}
		return
	}
	err := run(os.Args[1:], os.Stdout, os.Stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
	case errors.Is(err, errUsage):
		fmt.Fprintln(os.Stderr, "evaluate:", err)
		os.Exit(2)
	case err != nil:
		fmt.Fprintln(os.Stderr, "evaluate:", err)
		os.Exit(1)
	}
}

var errUsage = errors.New("wrong flags")

func run(args []string, stdout, stderr io.Writer) error {
	var o options
	flags := flag.NewFlagSet("evaluate", flag.ContinueOnError)
	flags.SetOutput(stderr)
	flags.StringVar(&o.half, "half", "held-out", "which half of the hard set: dev, held-out or both")
	flags.BoolVar(&o.quick, "quick", false, "one item of each condition and a sixth of the grid: under a minute, only a hint")
	flags.BoolVar(&o.verbose, "v", false, "also a row for each condition")
	tools := flags.String("tools", "ours,yin,aubio-yin,aubio-yinfast,praat", "the columns; praat-cc is slow and off; ours alone takes a minute")
	flags.StringVar(&o.format, "format", "text", "text, json or csv")
	flags.StringVar(&o.reference, "reference", os.Getenv("SINGBACK_REFERENCE"), "folder of reference data; empty leaves out real singing")
	flags.StringVar(&o.results, "results", "", "folder in which a dated file of the run is kept as well; empty keeps none")
	sweep := flags.Bool("sweep", false, "look for the best thresholds of the references on the dev half and print them")
	if err := flags.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return err
		}
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	switch o.half {
	case "dev":
		o.halves = []hardset.Half{hardset.Dev}
	case "held-out":
		o.halves = []hardset.Half{hardset.HeldOut}
	case "both":
		o.halves = []hardset.Half{hardset.Dev, hardset.HeldOut}
	default:
		return fmt.Errorf("%w: -half %q, want dev, held-out or both", errUsage, o.half)
	}
	if !slices.Contains([]string{"text", "json", "csv"}, o.format) {
		return fmt.Errorf("%w: -format %q, want text, json or csv", errUsage, o.format)
	}
	o.tools = strings.Split(*tools, ",")
	for _, name := range o.tools {
		if !slices.Contains(toolNames(), name) {
			return fmt.Errorf("%w: -tools %q, want some of %s", errUsage, name, strings.Join(toolNames(), ","))
		}
	}
	if o.quick && o.results != "" {
		return fmt.Errorf("%w: a quick run is a hint, and not kept in -results", errUsage)
	}
	dir, err := os.MkdirTemp("", "evaluate")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if *sweep {
		return sweepThresholds(o, dir, stdout)
	}
	commit := testkit.Commit() // what runs, whatever is written meanwhile
	say := func(format string, args ...any) { fmt.Fprintf(stderr, format+"\n", args...) }
	r, err := measure(o, dir, say)
	if err != nil {
		return err
	}
	switch {
	case o.results != "" && o.reference == "":
		say("only a run with the reference data is kept")
	case o.results != "":
		path, err := r.result().Keep(o.results, time.Now(), commit)
		if err != nil {
			return err
		}
		say("kept in %s", path)
	}
	switch o.format {
	case "json":
		return r.json(stdout)
	case "csv":
		return r.csv(stdout)
	}
	return r.text(stdout)
}
