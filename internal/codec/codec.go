// Package codec opens recordings of any kind as package audio reads WAV: FLAC, Ogg
// Vorbis, Ogg Opus and MP3 by libraries, everything else, video too, through ffmpeg where
// it is installed.
//
// What a file is, is seen from how it begins, never from its name. The delay that a codec
// puts before the sound is taken out where the file tells it: the encoder's and the
// decoder's of MP3 by its LAME tag, Opus's pre-skip, Vorbis's by its granules. So pitch
// and time are those of the recording that was coded.
//
// Files are hostile: nothing is allocated from a length that was not checked, and a
// library that panics is an error that names the file.
package codec

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"singback/internal/audio"
)

// Kind is what a file holds, by how it begins.
type Kind int

// The kinds.
const (
	Unknown Kind = iota
	WAV
	FLAC
	Vorbis
	Opus
	MP3
	Foreign // sound or video that ffmpeg may read
)

// ErrNotRecording is what a file that begins like no recording is.
var ErrNotRecording = errors.New("not a recording")

// ErrNeedsProgram is what a recording is that is read through a program that is missing.
var ErrNeedsProgram = errors.New("needs ffmpeg")

// Sniffed is how many bytes Sniff looks at, at most.
const Sniffed = 64

// Sniff tells the kind from the first bytes of a file, 64 where there are so many, and
// what such a file is called.
func Sniff(head []byte) (kind Kind, name string) {
	at := func(i int, magic string) bool { return len(head) >= i && bytes.HasPrefix(head[i:], []byte(magic)) }
	switch {
	case (at(0, "RIFF") || at(0, "RIFX") || at(0, "RF64") || at(0, "BW64")) && at(8, "WAVE"):
		return WAV, "WAV"
	case at(0, "fLaC"):
		return FLAC, "FLAC"
	case at(0, "OggS"):
		switch {
		case bytes.Contains(head, []byte("\x01vorbis")):
			return Vorbis, "Ogg Vorbis"
		case bytes.Contains(head, []byte("OpusHead")):
			return Opus, "Ogg Opus"
		}
		return Foreign, "Ogg"
	case at(0, "ID3"):
		return MP3, "MP3" // what follows the tag is looked at when it is opened
	case len(head) >= 4 && frameHeader(head).valid:
		return MP3, "MP3"
	case at(4, "ftyp"):
		return Foreign, "MP4 (M4A, video)"
	case at(0, "\x1a\x45\xdf\xa3"):
		return Foreign, "WebM or Matroska"
	case at(0, "#!AMR"):
		return Foreign, "AMR"
	case at(0, "caff"):
		return Foreign, "Core Audio"
	case at(0, "FORM") && (at(8, "AIFF") || at(8, "AIFC")):
		return Foreign, "AIFF"
	case at(0, "RIFF") && at(8, "AVI "):
		return Foreign, "AVI"
	case at(0, "\x30\x26\xb2\x75\x8e\x66\xcf\x11"):
		return Foreign, "Windows Media"
	case at(0, ".snd"):
		return Foreign, "AU"
	case len(head) >= 4 && head[0] == 0xff && head[1]&0xf6 == 0xf0: // ADTS: ISO/IEC 13818-7, 6.2
		return Foreign, "AAC"
	}
	return Unknown, ""
}

// extensions are those of recordings.
var extensions = []string{".wav", ".wave", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".aac", ".mp4", ".mov", ".webm", ".mkv", ".amr", ".3gp", ".caf", ".aif", ".aiff", ".wma"}

// Named tells whether a file has the name of a recording.
func Named(path string) bool {
	return slices.Contains(extensions, strings.ToLower(filepath.Ext(path)))
}

// SniffFile is [Sniff] of a file on disk.
func SniffFile(path string) (Kind, string, error) {
	f, err := os.Open(path)
	if err != nil {
		return Unknown, "", err
	}
	defer f.Close()
	head := make([]byte, Sniffed)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return Unknown, "", err
	}
	kind, name := Sniff(head[:n])
	return kind, name, nil
}

// Open opens the recording at path. The errors are those of [audio.OpenWAV], and
// [ErrNotRecording] and [ErrNeedsProgram].
func Open(path string, options ...audio.Option) (*audio.WAV, error) {
	if archive, name, ok := packed(path); ok {
		return openPacked(path, archive, name, options...)
	}
	kind, name, err := SniffFile(path)
	if err != nil || kind == WAV || kind == Unknown {
		// A folder, a file that is not there, an empty one, and what only by its name is
		// WAV are told as they have always been.
		return audio.OpenWAV(path, options...)
	}
	if kind == Foreign {
		return foreign(path, name, options...)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	w, err := decoded(kind, name, f, path, options...)
	if err != nil {
		f.Close()
		if errors.Is(err, errLowRate) {
			return foreign(path, "MP3 of a low sample rate", options...)
		}
		return nil, err
	}
	w.OnClose(f)
	return w, nil
}

// New reads the recording that r delivers, which may be a pipe: all but those that ffmpeg
// is needed for.
func New(r io.Reader, name string, options ...audio.Option) (*audio.WAV, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	head, _ := in.Peek(Sniffed)
	kind, what := Sniff(head)
	switch kind {
	case WAV, Unknown:
		return audio.NewWAV(in, name, options...)
	case Foreign:
		return nil, fmt.Errorf("%s: %w: %s is not read from a pipe; name the file", name, audio.ErrUnsupported, what)
	}
	return decoded(kind, what, in, name, options...)
}

// decoder gives the samples of a recording.
type decoder interface {
	// next gives some interleaved samples in [-1, 1], valid until the next call. It ends
	// with io.EOF.
	next() ([]float32, error)
}

// described is what is known of a recording before its samples.
type described struct {
	rate, channels int
	frames         int64 // −1 where it is not known
}

func decoded(kind Kind, name string, r io.Reader, path string, options ...audio.Option) (w *audio.WAV, err error) {
	defer func() {
		if p := recover(); p != nil {
			w, err = nil, fmt.Errorf("%s: %w: the header of this %s is damaged", path, audio.ErrBadHeader, name)
		}
	}()
	var d decoder
	var what described
	switch kind {
	case FLAC:
		d, what, err = openFLAC(r)
	case Vorbis:
		d, what, err = openVorbis(r)
	case Opus:
		d, what, err = openOpus(r)
	case MP3:
		d, what, err = openMP3(r)
	}
	if err != nil {
		return nil, complain(path, name, err)
	}
	return audio.NewWAV(newStream(d, what, path, name), path, options...)
}

// complain says what was wrong with a recording.
func complain(path, name string, err error) error {
	var file *fs.PathError
	switch {
	case errors.As(err, &file):
		return fmt.Errorf("%s: %w", path, file.Err)
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%s: %w: the %s ends in its header; copy or record it again", path, audio.ErrTruncated, name)
	case errors.Is(err, audio.ErrUnsupported):
		return fmt.Errorf("%s: %w", path, err)
	}
	return fmt.Errorf("%s: %w: %s: %w", path, audio.ErrBadHeader, name, err)
}
