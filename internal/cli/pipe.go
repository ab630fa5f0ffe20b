package cli

import (
	"context"
	"errors"
	"io"
	"os"

	"singback/internal/audio"
	"singback/internal/codec"
)

// isPipe tells whether a recording may be anything but a file on disk: standard
// input, a named pipe, what a shell puts in the place of <(command). It is read
// once and may keep the reader waiting.
func isPipe(path string) bool {
	if path == "-" {
		return true
	}
	info, err := os.Stat(path)
	return err == nil && !info.IsDir() && !info.Mode().IsRegular()
}

// piped is a recording that comes through a pipe. It is a [audio.Awaiter]:
// nothing is read of it before.
type piped struct {
	*audio.WAV
	env  *env
	rec  *recording
	path string
	ctx  context.Context // of Await
	file *late           // nil: standard input
}

// Await waits for the header and the first samples.
func (p *piped) Await(ctx context.Context) error {
	options, err := p.rec.options()
	if err != nil {
		return err
	}
	p.ctx = ctx
	in, name := p.env.stdin, "standard input"
	if p.path != "-" {
		p.file = &late{path: p.path}
		in, name = p.file, p.path
	}
	p.WAV, err = codec.New(newPatient(ctx, in), name, options...)
	return err
}

// Close may be called before Await. A file whose Read has not come back is left
// open.
func (p *piped) Close() (err error) {
	if p.WAV != nil {
		err = p.WAV.Close()
	}
	if p.file == nil || p.file.File == nil || p.ctx.Err() != nil {
		return err
	}
	return errors.Join(err, p.file.Close())
}

// patient reads what may keep it waiting, and stops waiting when its context
// ends. What it waited for is then left to the end of the program.
type patient struct {
	ctx  context.Context
	in   io.Reader
	kept []byte // what the reading goroutine fills
}

// newPatient makes in patient unless it is a file on disk, whose length its
// reader may want to know.
func newPatient(ctx context.Context, in io.Reader) io.Reader {
	if f, ok := in.(*os.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			return in
		}
	}
	return &patient{ctx: ctx, in: in}
}

// Read follows io.Reader. It never touches b after it has returned.
func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	if len(p.kept) < len(b) {
		p.kept = make([]byte, len(b))
	}
	type read struct {
		n   int
		err error
	}
	done := make(chan read, 1)
	go func(b []byte) {
		n, err := p.in.Read(b)
		done <- read{n, err}
	}(p.kept[:len(b)])
	select {
	case r := <-done:
		return copy(b, p.kept[:r.n]), r.err
	case <-p.ctx.Done():
		return 0, p.ctx.Err()
	}
}

// late is a file that is opened by its first Read: to open a named pipe is to
// wait for whoever writes into it.
type late struct {
	path string
	*os.File
}

// Read follows io.Reader.
func (l *late) Read(b []byte) (int, error) {
	if l.File == nil {
		f, err := os.Open(l.path)
		if err != nil {
			return 0, err
		}
		l.File = f
	}
	return l.File.Read(b)
}
