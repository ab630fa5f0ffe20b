// Package codec opens recordings of any kind as package audio reads WAV: FLAC, Ogg
// Vorbis, Ogg Opus and MP3 by libraries, everything else, video too, through ffmpeg where
// it is installed.
//
// What a file is, is seen from how it begins, never from its name. The delay that a codec
// puts before the sound is taken out where the file tells it: the encoder's and the
// decoder's of MP3 by its LAME tag, Opus's pre-skip, Vorbis's by its granules. So pitch
// and time are those of the recording that was coded.
//
// Everything is decoded as it is read: memory does not grow with the length. Files are
// hostile: nothing is allocated from a length that was not checked, no library searches
// without end, no recording is longer than six hours, and a library that panics is an
// error that names the file.
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
var ErrNeedsProgram = errors.New("a program is missing")

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
	case at(0, "ID3") && len(head) > 4 && head[3] != 0xff && head[4] != 0xff:
		return MP3, "MP3" // what follows the tag is looked at when it is opened
	case len(head) >= 4 && frameHeader(head).valid:
		return MP3, "MP3"
	case len(head) >= 4 && head[0] == 0xff && head[1]&0xf6 == 0xf0: // ADTS: ISO/IEC 13818-7, 6.2
		return Foreign, aac
	case len(head) >= 4 && head[0] == 0xff && head[1]&0xfe == 0xfc && head[2]>>4 != 15 && head[2]>>2&3 != 3:
		return Foreign, "MP2"
	}
	for _, f := range foreigns {
		if at(f.at, f.magic) {
			return Foreign, f.name
		}
	}
	return Unknown, ""
}

// foreigns are how files begin that ffmpeg may read.
var foreigns = []struct {
	at          int
	magic, name string
}{
	{4, "ftyp3g", telephone},
	{4, "ftyp", "MP4 (M4A, video)"},
	{4, "moov", "QuickTime"}, {4, "mdat", "QuickTime"}, {4, "wide", "QuickTime"},
	{0, "\x1a\x45\xdf\xa3", "WebM or Matroska"},
	{0, "#!AMR", amr},
	{0, "caff", "Core Audio"},
	{8, "AIFF", "AIFF"}, {8, "AIFC", "AIFF"},
	{8, "AVI ", "AVI"},
	{0, "\x30\x26\xb2\x75\x8e\x66\xcf\x11", "Windows Media"},
	{0, ".snd", "AU"},
	{0, "riff\x2e\x91\xcf\x11", "Wave64"},
	{0, "wvpk", "WavPack"},
	{0, "MAC ", "APE"},
	{0, "FLV\x01", "Flash video"},
	{0, "\x00\x00\x01\xba", "MPEG video"},
}

// extensions are those of recordings.
var extensions = []string{".wav", ".wave", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".aac", ".mp4", ".mov", ".webm", ".mkv", ".amr", ".3gp", ".caf", ".aif", ".aiff", ".wma",
	".m4b", ".mp2", ".3g2", ".avi", ".mpg", ".mpeg", ".au", ".w64", ".wv", ".ape", ".spx"}

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
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%s: %w: it is a folder; name a file in it", path, ErrNotRecording)
	}
	kind, name, err := SniffFile(path)
	switch {
	case err != nil:
		return audio.OpenWAV(path, options...) // which says what is wrong with it
	case kind == WAV || kind == Unknown:
		w, err := audio.OpenWAV(path, options...)
		if kind == WAV && errors.Is(err, audio.ErrUnsupported) { // sound of phones in WAV
			if w, other := foreign(path, name, options...); other == nil {
				return w, nil
			}
		}
		return w, unknown(path, err)
	case kind == Foreign:
		return foreign(path, name, options...)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	w, err := decoded(kind, name, f, path, options...)
	if err != nil {
		f.Close()
		if other, ok := errors.AsType[elsewhere](err); ok {
			return foreign(path, string(other), options...)
		}
		return nil, err
	}
	w.OnClose(f)
	return w, nil
}

// unknown is what is said of a file that begins like no recording: audio knows WAV only.
func unknown(name string, err error) error {
	if !errors.Is(err, audio.ErrNotWAV) {
		return err
	}
	said := strings.TrimPrefix(err.Error(), name+": "+audio.ErrNotWAV.Error())
	return fmt.Errorf("%s: %w%s", name, ErrNotRecording, strings.Replace(said, "a WAV recording", "a recording", 1))
}

// New reads the recording that r delivers, which may be a pipe. What ffmpeg is needed for
// is put into a file for it, and taken away again.
func New(r io.Reader, name string, options ...audio.Option) (*audio.WAV, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	head, _ := in.Peek(Sniffed)
	kind, what := Sniff(head)
	switch kind {
	case WAV, Unknown:
		w, err := audio.NewWAV(in, name, options...)
		return w, unknown(name, err)
	case Foreign:
		return spooled(in, nil, name, what, mostSpooled, options...)
	}
	w, err := decoded(kind, what, in, name, options...)
	if other, ok := errors.AsType[elsewhere](err); ok {
		return nil, fmt.Errorf("%s: %w: %s is not read from a pipe; name the file", name, audio.ErrUnsupported, string(other))
	}
	return w, err
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
		if d, what, err = openMP3(r); err == nil && what.frames < 0 && cutInFrame(path) {
			d = cut{d}
		}
	}
	var other elsewhere
	switch {
	case errors.As(err, &other):
		return nil, err
	case err != nil:
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
