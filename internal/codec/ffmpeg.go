package codec

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"singback/internal/audio"
)

// program reads what no library here does.
const program = "ffmpeg"

// longest is how much of a recording is asked of ffmpeg, in seconds: six hours, as of a
// pitch curve.
const longest = "21600"

// install says how ffmpeg is installed on this system.
func install() string {
	switch runtime.GOOS {
	case "darwin":
		return "brew install ffmpeg"
	case "windows":
		return "winget install ffmpeg"
	}
	return "sudo apt install ffmpeg (on Debian and Ubuntu)"
}

// foreign opens a recording through ffmpeg: of the first sound in the file, at its own
// rate, without what the file's edit list or its codec's delay puts before it.
func foreign(path, kind string, options ...audio.Option) (*audio.WAV, error) {
	return through(path, path, kind, options...)
}

// through is foreign for a file that errors call by another name.
func through(file, path, kind string, options ...audio.Option) (*audio.WAV, error) {
	if _, err := exec.LookPath(program); err != nil {
		return nil, fmt.Errorf("%s: %w: %s is read through ffmpeg, which is not installed here; type %s", path, ErrNeedsProgram, kind, install())
	}
	full, err := filepath.Abs(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	ctx, stop := context.WithCancel(context.Background())
	// Only this file, nothing that it names: no playlist is followed, no network asked.
	cmd := exec.CommandContext(ctx, program, "-nostdin", "-hide_banner", "-v", "error", "-protocol_whitelist", "file,pipe",
		"-i", "file:"+full, "-map", "0:a:0", "-vn", "-sn", "-dn", "-t", longest, "-c:a", "pcm_f32le", "-f", "wav", "pipe:1")
	p := &process{cmd: cmd, stop: stop, kind: kind}
	cmd.Stderr = &p.said
	if p.out, err = cmd.StdoutPipe(); err == nil {
		err = cmd.Start()
	}
	if err != nil {
		stop()
		return nil, fmt.Errorf("%s: %s: %w", path, program, err)
	}
	w, err := audio.NewWAV(p, path, options...)
	if err != nil {
		_ = p.Close()
		if said := p.complaint(); said != nil {
			return nil, fmt.Errorf("%s: %w", path, said)
		}
		return nil, err
	}
	w.OnClose(p)
	return w, nil
}

// process is what a program writes to its standard output.
type process struct {
	cmd  *exec.Cmd
	stop context.CancelFunc
	out  io.ReadCloser
	said last
	kind string

	ended sync.Once
	err   error // of the program, once it has ended by itself
}

// Read delivers what the program writes. If it fails, so does the last Read.
func (p *process) Read(b []byte) (int, error) {
	n, err := p.out.Read(b)
	if n == 0 && errors.Is(err, io.EOF) {
		p.wait()
		if p.err != nil {
			return 0, p.complaint()
		}
	}
	return n, err
}

func (p *process) wait() {
	p.ended.Do(func() { p.err = p.cmd.Wait() })
}

// complaint is what the program said against the file; nil where it said nothing.
func (p *process) complaint() error {
	line, _, _ := strings.Cut(strings.TrimSpace(p.said.String()), "\n")
	if line == "" {
		return nil
	}
	// What is in brackets names a part of the program, and its address.
	for strings.HasPrefix(line, "[") {
		_, rest, ok := strings.Cut(line, "] ")
		if !ok {
			break
		}
		line = rest
	}
	return fmt.Errorf("%w: %s says of this %s: %s", audio.ErrBadHeader, program, p.kind, line)
}

// Close ends the program.
func (p *process) Close() error {
	p.stop()
	p.wait()
	return nil
}

// last keeps the first lines of what is written to it.
type last struct {
	mu sync.Mutex
	b  bytes.Buffer
}

const mostSaid = 4096

func (l *last) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.b.Write(p[:min(len(p), mostSaid-min(mostSaid, l.b.Len()))])
	return len(p), nil
}

// String is what was kept.
func (l *last) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
