package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
)

// gradeList says which takes are graded, where a command line cannot hold their names, or
// several runs share them.
type gradeList struct {
	file  string // of names, a line each; "-" is standard input
	share string // K/N
	k, n  int    // of share; 0: all
}

func (l *gradeList) addFlags(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&l.file, "list", "", "more takes: this `FILE` names one a line; - is standard input")
	fl.StringVar(&l.share, "share", "", "only the `K/N`th share of the takes, like 2/4: so that several runs share them")
	completed(cmd, "share", fixed("1/2", "2/2"))
}

// args wants a take, or a list of them.
func (l *gradeList) args(_ *cobra.Command, args []string) error {
	if len(args) == 0 && l.file == "" {
		return usagef("a recording or pitch curve TAKE is missing, or --list FILE")
	}
	return nil
}

// check finds mistakes in the flags.
func (l *gradeList) check(format string) error {
	if l.share == "" {
		return nil
	}
	k, n, ok := strings.Cut(l.share, "/")
	var err, other error
	l.k, err = strconv.Atoi(k)
	l.n, other = strconv.Atoi(n)
	switch {
	case !ok || err != nil || other != nil || l.k < 1 || l.n < 1 || l.k > l.n:
		return usagef("--share: %q: want K/N, like 2/4, with K from 1 to N", short(l.share))
	case format != "csv" && format != "jsonl":
		return usagef("--share: shares are joined by their rows: want --format csv or jsonl")
	}
	return nil
}

// The limits of a list, so that no file can be without measure.
const (
	longestName = 1 << 16
	mostListed  = 20_000_000
)

// read adds the takes of the list to those of the command line.
func (l *gradeList) read(e *env, paths []string) ([]string, error) {
	if l.file == "" {
		return paths, nil
	}
	in, name, err := e.open(l.file)
	if err != nil {
		return nil, fmt.Errorf("--list: %w", err)
	}
	defer in.Close()
	r := bufio.NewReaderSize(in, longestName)
	for line := 1; ; line++ {
		b, err := r.ReadSlice('\n')
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return nil, fmt.Errorf("--list: %s: line %d is longer than %d bytes: want the name of a take a line", name, line, longestName)
		case err != nil && !errors.Is(err, io.EOF):
			return nil, fmt.Errorf("--list: %s: %w", name, err)
		}
		text := strings.TrimRight(string(b), "\r\n")
		if line == 1 {
			text = strings.TrimPrefix(text, "\ufeff")
		}
		switch {
		case strings.TrimSpace(text) == "", text[0] == '#':
		case strings.ContainsRune(text, 0):
			return nil, fmt.Errorf("--list: %s: line %d holds no text: want the name of a take a line", name, line)
		case text == "-" && l.file == "-":
			return nil, usagef("--list: line %d is -, and standard input is the list already", line)
		default:
			paths = append(paths, text)
		}
		if len(paths) > mostListed {
			return nil, fmt.Errorf("--list: %s: more than %d takes: grade them in several lists", name, mostListed)
		}
		if err != nil {
			break
		}
	}
	if len(paths) == 0 {
		return nil, fmt.Errorf("--list: %s names no take: want the name of one a line", name)
	}
	return paths, nil
}

// sharedOf are the takes of the share, those from one place to another: the shares in
// their order are all takes in theirs.
func sharedOf[T any](l *gradeList, takes []T) []T {
	if l.n == 0 {
		return takes
	}
	return takes[len(takes)*(l.k-1)/l.n : len(takes)*l.k/l.n]
}

// headless tells whether rows begin without a head: what is joined has one, that of the
// first share.
func (l *gradeList) headless() bool { return l.k > 1 }

// strange is the first of takes that are there, and are not among those of a share.
func (l *gradeList) strange(there map[string]bool, paths []string) string {
	if l.n == 0 {
		return ""
	}
	mine := make(map[string]bool, len(paths))
	for _, p := range paths {
		mine[p] = true
	}
	for p := range there {
		if !mine[p] {
			return p
		}
	}
	return ""
}

// torn tells whether a file without a whole row may be gone on with: it holds nothing, or
// the beginning of a row about one of the takes.
func (l *gradeList) torn(in io.ReadSeeker, kind string, paths []string) bool {
	if kind != "jsonl" && !l.headless() {
		return true // its head was looked at
	}
	if _, err := in.Seek(0, io.SeekStart); err != nil {
		return false
	}
	b, err := io.ReadAll(io.LimitReader(in, longestName))
	if err != nil || len(b) == 0 {
		return err == nil
	}
	begins := func(with string) bool {
		return strings.HasPrefix(with, string(b)) || strings.HasPrefix(string(b), with)
	}
	if kind == "jsonl" {
		return begins(`{"schema":`)
	}
	return slices.ContainsFunc(paths, func(p string) bool {
		return begins(p) || begins(`"`+strings.ReplaceAll(p, `"`, `""`))
	})
}
