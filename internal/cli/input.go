package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/codec"
	"singback/internal/newfile"
	"singback/internal/notation"
)

// stdinName is what messages call standard input.
const stdinName = "standard input"

// open opens what is to be read at a path, and says what messages call it; "-" is
// standard input, which Close leaves open. An error does not name the path twice.
func (e *env) open(path string) (in io.ReadCloser, name string, err error) {
	if path == "-" {
		return io.NopCloser(e.stdin), stdinName, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, path, newfile.PathError(path, err)
	}
	return f, path, nil
}

// readUpTo reads what is at a path, or on standard input, if that is not more than
// so many bytes; what names it in the error.
func (e *env) readUpTo(path string, most int64, what string) ([]byte, error) {
	in, name, err := e.open(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	b, err := io.ReadAll(io.LimitReader(in, most+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	if int64(len(b)) > most {
		return nil, fmt.Errorf("%s holds more than %d MiB: want %s", name, most>>20, what)
	}
	return b, nil
}

// answer asks, and reads the line that is typed.
func (e *env) answer(question string) (string, error) {
	fmt.Fprint(e.stderr, question)
	line, err := bufio.NewReader(e.stdin).ReadString('\n')
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return strings.TrimSpace(line), err
}

// typed are the lines that are typed from now on, in small letters and without
// blanks about them, until ctx ends.
func (e *env) typed(ctx context.Context) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		for in := bufio.NewScanner(e.stdin); in.Scan(); {
			select {
			case lines <- strings.ToLower(strings.TrimSpace(in.Text())):
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

// melodyInput is a melody that was named or typed.
type melodyInput struct {
	path string        // "-" is standard input; "" where names were typed
	name string        // of the file in messages
	text string        // that was typed
	in   *bufio.Reader // of the file
	file io.Closer
}

// openMelody finds out whether the arguments name a file, or are names of notes,
// and opens the file. What looks like the name of one, by an ending of a notation
// file, a recording or one of those given, and is none is an error.
func (e *env) openMelody(args []string, endings ...string) (*melodyInput, error) {
	m := &melodyInput{text: strings.Join(args, " ")}
	if len(args) != 1 {
		return m, nil
	}
	path := args[0]
	if path != "-" {
		info, err := os.Stat(path)
		_, known := notation.ByName(path)
		switch {
		case err == nil && info.IsDir():
			return nil, fmt.Errorf("%s is a folder: want a file", short(path))
		case err == nil:
		case known, codec.Named(path), slices.Contains(endings, strings.ToLower(filepath.Ext(path))), errors.Is(err, fs.ErrPermission):
			return nil, newfile.PathError(path, err)
		default:
			return m, nil
		}
	}
	in, name, err := e.open(path)
	if err != nil {
		return nil, err
	}
	m.path, m.name, m.in, m.file = path, name, bufio.NewReader(in), in
	return m, nil
}

func (m *melodyInput) close() error {
	if m.file == nil {
		return nil
	}
	return m.file.Close()
}

// recorded tells whether it is a recording: what it holds says what it is.
func (m *melodyInput) recorded() (bool, error) {
	if m.in == nil {
		return false, nil
	}
	head, err := m.in.Peek(codec.Sniffed)
	if err != nil && !errors.Is(err, io.EOF) {
		return false, fmt.Errorf("read %s: %w", m.name, err)
	}
	kind, _ := codec.Sniff(head)
	return kind != codec.Unknown || codec.Named(m.name), nil
}

// recording holds the flags about how a recording is read.
type recording struct {
	channel int
	partial bool
}

func (r *recording) addFlags(cmd *cobra.Command) {
	cmd.Flags().IntVar(&r.channel, "channel", 0, "of a recording read only this channel, a `NUMBER` from 1; 0 mixes all")
	cmd.Flags().BoolVar(&r.partial, "partial", false, "read a recording that is cut short as far as it goes")
}

// options are the flags as options of a reader.
func (r *recording) options() ([]audio.Option, error) {
	var options []audio.Option
	if r.channel < 0 {
		return nil, usagef("--channel: %d is out of range: want 1 or more, or 0 for all", r.channel)
	}
	if r.channel > 0 {
		options = append(options, audio.Channel(r.channel))
	}
	if r.partial {
		options = append(options, audio.Partial())
	}
	return options, nil
}

// open opens a recording; "-" is standard input.
func (r *recording) open(e *env, path string) (*audio.WAV, error) { return r.of(path, e.stdin) }

// of opens a recording; "-" is what stdin delivers.
func (r *recording) of(path string, stdin io.Reader) (*audio.WAV, error) {
	options, err := r.options()
	if err != nil {
		return nil, err
	}
	if path == "-" {
		return codec.New(stdin, stdinName, options...)
	}
	return codec.Open(path, options...)
}

// warn tells about a recording that was read but may not be what it seems.
func (r *recording) warn(e *env, path string, src *audio.WAV) {
	if src.Cancelled() {
		fmt.Fprintln(e.stderr, cancelled(path))
	}
}

// cancelled says that a recording is silent when mixed.
func cancelled(path string) string {
	return path + ": the channels cancel each other when mixed; try --channel 1"
}
