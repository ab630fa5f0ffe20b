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
	"slices"
	"strings"
	"sync"

	"singback/internal/audio"
)

// program reads what no library here does.
const program = "ffmpeg"

// longest is how much of a recording is asked of ffmpeg, in seconds: six hours, as of a
// pitch curve.
const longest = "21600"

// The kinds whose sound may have gaps.
const amr, telephone = "AMR", "3GP"

// aac is AAC in no container.
const aac = "AAC"

// install is what is typed to install ffmpeg on this system.
func install(system string, has func(program string) bool) string {
	switch system {
	case "darwin":
		return "brew install ffmpeg"
	case "windows":
		return "winget install ffmpeg"
	}
	for _, c := range [][2]string{{"apt-get", "sudo apt install ffmpeg"}, {"dnf", "sudo dnf install ffmpeg-free"}, {"pacman", "sudo pacman -S ffmpeg"}} {
		if has(c[0]) {
			return c[1]
		}
	}
	return "sudo apt install ffmpeg (on Debian and Ubuntu; elsewhere the package ffmpeg)"
}

func has(program string) bool {
	_, err := exec.LookPath(program)
	return err == nil
}

// FFmpeg is where ffmpeg lies, "" where it is not installed, and what is typed to
// install it.
func FFmpeg() (path, typed string) {
	path, err := exec.LookPath(program)
	if err != nil {
		path = ""
	}
	return path, install(runtime.GOOS, has)
}

// missing says what is to be typed for a recording of some kind to be read.
func missing(path, kind string) error {
	return fmt.Errorf("%s: %w: %s is read through ffmpeg, which is not installed here; type: %s", path, ErrNeedsProgram, kind, install(runtime.GOOS, has))
}

// foreign opens a recording through ffmpeg: of the first sound in the file, at its own
// rate, without what the file's edit list or its codec's delay puts before it.
func foreign(path, kind string, options ...audio.Option) (*audio.WAV, error) {
	return through(path, path, kind, options...)
}

// through is foreign for a file that errors call by another name.
func through(file, path, kind string, options ...audio.Option) (*audio.WAV, error) {
	if !has(program) {
		return nil, missing(path, kind)
	}
	full, err := filepath.Abs(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	ctx, stop := context.WithCancel(context.Background())
	// Only this file, nothing that it names: no playlist is followed, no network asked.
	args := []string{"-nostdin", "-hide_banner", "-v", "error", "-protocol_whitelist", "file,pipe",
		"-i", "file:" + full, "-map", "0:a:0", "-vn", "-sn", "-dn", "-t", longest, "-c:a", "pcm_f32le", "-f", "wav"}
	if kind == amr || kind == telephone {
		// The program leaves out the frames that stand for silence (3GPP TS 26.092), and
		// with them their time, unless it is told to fill the gaps.
		args = append(args, "-max_error_rate", "1", "-af", "aresample=async=1:min_hard_comp=0.01:first_pts=0")
	}
	cmd := exec.CommandContext(ctx, program, append(args, "pipe:1")...)
	p := &process{cmd: cmd, stop: stop, kind: kind, file: "file:" + full, cut: (kind == amr || kind == aac || kind == lowMP3) && cutInFrame(file)}
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
	kind string // of the file
	file string // as the program calls it
	cut  bool   // it ends within a frame

	ended sync.Once
	err   error // of the program, once it has ended by itself
}

// Read delivers what the program writes. If it fails, or finds that there is less than the
// file says, so does the last Read.
func (p *process) Read(b []byte) (int, error) {
	n, err := p.out.Read(b)
	if n == 0 && errors.Is(err, io.EOF) {
		p.wait()
		if said := p.complaint(); said != nil && (p.err != nil || errors.Is(said, audio.ErrTruncated)) {
			return 0, said
		}
		if p.cut {
			return 0, io.ErrUnexpectedEOF
		}
	}
	return n, err
}

func (p *process) wait() {
	p.ended.Do(func() { p.err = p.cmd.Wait() })
}

// half is what the program says of a file that is half there: where it reads on, and where
// it cannot.
var half, halfHead = []string{"partial file", "File ended prematurely"},
	[]string{"moov atom not found", "error reading header", "End of file", "Invalid data found"}

// complaint is what the program said against the file; nil where it said nothing.
func (p *process) complaint() error {
	all := p.said.String()
	line, _, _ := strings.Cut(strings.TrimSpace(all), "\n")
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
	line = strings.TrimPrefix(line, p.file+": ")
	said := func(s string) bool { return strings.Contains(all, s) }
	switch {
	case strings.Contains(all, "matches no streams"):
		return fmt.Errorf("%w: there is no sound in this %s", audio.ErrEmpty, p.kind)
	case slices.ContainsFunc(half, said), p.err != nil && slices.ContainsFunc(halfHead, said):
		return fmt.Errorf("%w: the %s is damaged or only half sent (%s says: %s); copy it again", audio.ErrTruncated, p.kind, program, strings.TrimSuffix(line, "."))
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
