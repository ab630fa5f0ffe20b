// Package keys reads a MIDI keyboard, where the operating system shows one as a file of
// raw bytes, as Linux does: /dev/snd/midi*. A named pipe serves as well.
//
// Bytes become messages in the MIDI library: running status, real-time bytes within
// other messages, packets split anywhere. A [Keyboard] opens windows on it, as an ear
// does on a microphone: [Keyboard.Struck].
package keys

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"singback/exercise"
	"singback/internal/keys/strike"
)

// devices are the files of keyboards.
const devices = "/dev/snd/midi*"

// ErrNone is returned where no keyboard is there.
var ErrNone = errors.New("no MIDI keyboard was found (" + devices + "): plug one in, or name its file with --keys PATH")

// Find returns the file of the first keyboard.
func Find() (string, error) { return find(devices) }

func find(pattern string) (string, error) {
	found, err := filepath.Glob(pattern)
	if err != nil || len(found) == 0 {
		return "", ErrNone
	}
	slices.Sort(found)
	return found[0], nil
}

// GoneError says that a keyboard is gone.
type GoneError struct {
	Path string
	Err  error // nil: its bytes have ended
}

func (e *GoneError) Error() string {
	text := fmt.Sprintf("the keyboard %s is gone: was it unplugged or switched off?", e.Path)
	var path *fs.PathError
	switch {
	case errors.As(e.Err, &path):
		text += fmt.Sprintf(" (%v)", path.Err)
	case e.Err != nil:
		text += fmt.Sprintf(" (%v)", e.Err)
	}
	return text
}

func (e *GoneError) Unwrap() error { return e.Err }

// Keyboard is a keyboard that is open.
type Keyboard struct {
	path    string
	changes chan Change
	done    chan struct{}
	ended   chan struct{} // closed when err is known
	err     error
	close   sync.Once

	mu   sync.Mutex
	file *os.File // nil until it is open
}

// Open opens a keyboard. A named pipe is opened when somebody writes into it.
func Open(path string) (*Keyboard, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("the keyboard cannot be opened: %w", err)
	case info.Mode()&(os.ModeCharDevice|os.ModeNamedPipe) == 0:
		return nil, fmt.Errorf("%s is no keyboard: want a MIDI device like /dev/snd/midiC1D0, or a named pipe", path)
	}
	k := &Keyboard{path: path, changes: make(chan Change, 1<<14), done: make(chan struct{}), ended: make(chan struct{})}
	if info.Mode()&os.ModeNamedPipe == 0 {
		if k.file, err = os.OpenFile(path, os.O_RDONLY|nonblocking, 0); err != nil {
			return nil, fmt.Errorf("the keyboard cannot be opened: %w", err)
		}
	}
	go k.run()
	return k, nil
}

// Close ends it.
func (k *Keyboard) Close() error {
	k.close.Do(func() {
		close(k.done)
		k.mu.Lock()
		file := k.file
		k.mu.Unlock()
		if file != nil {
			file.Close()
		} else if f, err := os.OpenFile(k.path, os.O_WRONLY|nonblocking, 0); err == nil {
			f.Close() // lets go who waits for somebody that writes
		}
	})
	<-k.ended
	return nil
}

// packet is what came at once.
type packet struct {
	bytes []byte
	at    time.Time
	err   error
}

// run reads until the keyboard is closed or gone.
func (k *Keyboard) run() {
	defer close(k.ended)
	packets := make(chan packet)
	go k.read(packets)
	d := newDecoder()
	quiet := time.NewTimer(time.Hour)
	defer quiet.Stop()
	for {
		var changes []Change
		select {
		case <-k.done:
			return
		case p, ok := <-packets:
			if !ok {
				return
			}
			if p.err != nil {
				k.err = &GoneError{k.path, p.err}
				return
			}
			changes = d.push(p.bytes, p.at)
		case at := <-quiet.C:
			if d.senses {
				changes = d.silent(at)
			}
		}
		if quiet.Reset(time.Hour); d.senses {
			quiet.Reset(sensing)
		}
		for _, c := range changes {
			select {
			case k.changes <- c:
			default: // nobody listens, and has not for 16 000 keys
			}
		}
	}
}

// read hands on what comes, and ends with the error that ends it.
func (k *Keyboard) read(packets chan<- packet) {
	defer close(packets)
	send := func(p packet) bool {
		select {
		case packets <- p:
			return true
		case <-k.done:
			return false
		}
	}
	if k.file == nil {
		f, err := os.Open(k.path)
		if err != nil {
			send(packet{err: err})
			return
		}
		k.mu.Lock()
		k.file = f
		k.mu.Unlock()
		select {
		case <-k.done: // meanwhile
			f.Close()
			return
		default:
		}
	}
	defer k.file.Close()
	for {
		bytes := make([]byte, 256)
		n, err := k.file.Read(bytes)
		if n > 0 && !send(packet{bytes: bytes[:n], at: time.Now()}) {
			return
		}
		if err != nil {
			send(packet{err: err})
			return
		}
	}
}

// next waits for a change, until a time; false: none came.
func (k *Keyboard) next(ctx context.Context, until time.Time) (Change, bool, error) {
	timer := time.NewTimer(time.Until(until))
	defer timer.Stop()
	select {
	case c := <-k.changes: // what was struck before the end counts
		return c, true, nil
	default:
	}
	select {
	case c := <-k.changes:
		return c, true, nil
	case <-timer.C:
		return Change{}, false, nil
	case <-k.ended:
		if k.err == nil {
			return Change{}, false, fmt.Errorf("the keyboard %s: %w", k.path, os.ErrClosed)
		}
		return Change{}, false, k.err
	case <-ctx.Done():
		return Change{}, false, ctx.Err()
	}
}

// Struck opens a window now and returns what is struck in it, as [strike.Take] has it.
// What was struck before does not count.
func (k *Keyboard) Struck(ctx context.Context, count int, chords bool) ([]exercise.Strike, error) {
	for len(k.changes) > 0 {
		<-k.changes
	}
	return strike.Take(ctx, count, chords, k.next)
}
