// Package notation reads and writes lines of music in open formats: ABC, MusicXML
// plain and compressed, Standard MIDI Files, names of degrees and tonic sol-fa.
// Package engrave draws them.
//
// The two calls most users need are [Read] and [Write]. Whatever a file holds that a line of one voice cannot is named in a
// [Warning] with its line or bar, or refused with an error that says where.
//
// Files are hostile: sizes are bounded, entities are not expanded, nothing is
// allocated from a length that has not been checked, and nothing panics.
package notation

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
	"unicode"

	"singback/internal/engrave"
	"singback/internal/plain"
	"singback/theory"
)

// Format is a file format.
type Format int

// The formats. Names is a list of names or tonic sol-fa notation.
const (
	ABC Format = iota
	MusicXML
	CompressedMusicXML
	MIDI
	Names
)

// formats holds the name of each format and its endings.
var formats = [...]struct {
	name    string
	endings []string
}{
	ABC:                {"abc", []string{".abc"}},
	MusicXML:           {"musicxml", []string{".musicxml", ".xml"}},
	CompressedMusicXML: {"mxl", []string{".mxl"}},
	MIDI:               {"midi", []string{".mid", ".midi", ".smf"}},
	Names:              {"names", []string{".txt", ".sol"}},
}

// String returns "abc", "musicxml", "mxl", "midi" or "names".
func (f Format) String() string {
	if f < 0 || int(f) >= len(formats) {
		return fmt.Sprintf("Format(%d)", int(f))
	}
	return formats[f].name
}

// Formats returns all formats.
func Formats() []Format { return []Format{ABC, MusicXML, CompressedMusicXML, MIDI, Names} }

// ByName returns the format that a file name ends in; ok is false where the
// ending says nothing.
func ByName(name string) (f Format, ok bool) {
	ending := strings.ToLower(path.Ext(name))
	for f, row := range formats {
		for _, e := range row.endings {
			if e == ending {
				return Format(f), true
			}
		}
	}
	return 0, false
}

// MaxFile is the longest file that is read, in bytes, also after it has been
// unpacked.
const MaxFile = 8 << 20

// ErrNotation is wrapped by every error about a file that could not be read or
// a line that could not be written.
var ErrNotation = engrave.ErrLine

// Warning is about something in a file that the line does not show.
type Warning string

// Options tell which line of a file is read, and what names mean.
type Options struct {
	// Voice is a voice, part or track: its name or id in the file, or its number
	// from 1. The empty string is the first one with notes.
	Voice string
	// Tune is a tune of a file of ABC: its number (X:), its title, or a part of that. The
	// empty string is the first one.
	Tune string

	// Chords tells that chord symbols are wanted: a line of rests with symbols will do.
	Chords bool

	// Key is the key where the file names none. KeyAsked tells that the user asked
	// for it: then the notes of a file that names another are counted in it.
	Key      theory.Key
	KeyAsked bool

	// For names of degrees: their naming, the octave of the tonic of a key (nil:
	// 4), and the length of a pulse in quarter notes (zero: 1).
	Naming theory.Naming
	Octave func(theory.Key) int
	Pulse  theory.Fraction
}

// Read reads the line in a file. The format goes by what the file holds and,
// where that can be several, by the ending of its name.
func Read(name string, data io.Reader, o Options) (theory.Score, []Warning, error) {
	b, err := io.ReadAll(io.LimitReader(data, MaxFile+1))
	if err != nil {
		return theory.Score{}, nil, fmt.Errorf("read %s: %w", name, err)
	}
	s, warnings, err := Parse(name, b, o)
	if err != nil {
		return s, nil, fmt.Errorf("%s: %w", name, err)
	}
	return s, warnings, nil
}

// Parse is Read for what has been read already; its errors do not name the file.
func Parse(name string, b []byte, o Options) (theory.Score, []Warning, error) {
	if len(b) > MaxFile {
		return theory.Score{}, nil, fmt.Errorf("%w: more than %d MiB", ErrNotation, MaxFile>>20)
	}
	l := &reading{options: o}
	var s theory.Score
	text, _, err := fromUTF16(b)
	if err == nil {
		format := detect(name, text)
		if err := o.oneTune(format); err != nil {
			return theory.Score{}, nil, err
		}
		switch format {
		case MIDI:
			s, err = l.midi(b)
		case CompressedMusicXML:
			s, err = l.compressed(b)
		case MusicXML:
			s, err = l.musicXML(b)
		case ABC:
			s, err = l.abc(undeclared(text))
		default:
			s, err = l.names(undeclared(text))
		}
	}
	if err == nil {
		err = s.Validate()
	}
	if err == nil && !sings(s) && !(o.Chords && len(s.Symbols) > 0) {
		err = fmt.Errorf("it has no notes")
	}
	if err != nil {
		if s, warnings, ok := l.lineNamed(name, b, err); ok {
			return s, warnings, nil
		}
		return theory.Score{}, nil, bounded(err)
	}
	s.Title = plain.Line(s.Title)
	for i := range s.Notes {
		s.Notes[i].Words = plain.Line(s.Notes[i].Words)
	}
	return s, l.warnings, nil
}

// bounded is an error about a file: what a file makes of a message is bounded, and
// one line.
func bounded(err error) error {
	if !errors.Is(err, ErrNotation) {
		err = fmt.Errorf("%w: %w", ErrNotation, err)
	}
	if text := strings.Map(printable, strings.ToValidUTF8(err.Error(), "?")); text != err.Error() || len(text) > 300 {
		text = strings.TrimPrefix(text, ErrNotation.Error()+": ")
		if r := []rune(text); len(r) > 200 {
			text = string(r[:200]) + "…"
		}
		err = fmt.Errorf("%w: %s", ErrNotation, text)
	}
	return err
}

func printable(r rune) rune {
	if unicode.IsPrint(r) {
		return r
	}
	return '?'
}

func sings(s theory.Score) bool {
	for _, n := range s.Notes {
		if !n.Rest {
			return true
		}
	}
	return false
}

// detect finds the format of a file; text is without a byte order mark.
func detect(name string, b []byte) Format {
	start := bytes.TrimLeft(b, " \t\r\n")
	switch {
	case bytes.HasPrefix(b, []byte("MThd")), bytes.HasPrefix(b, []byte("RIFF")):
		return MIDI
	case bytes.HasPrefix(b, []byte("PK\x03\x04")):
		return CompressedMusicXML
	case bytes.HasPrefix(start, []byte("<")):
		return MusicXML
	case bytes.HasPrefix(start, []byte("X:")), bytes.HasPrefix(start, []byte("%abc")), bytes.Contains(b, []byte("\nK:")):
		return ABC
	}
	if f, ok := ByName(name); ok {
		return f
	}
	return Names
}

// reading is one file being read.
type reading struct {
	options  Options
	warnings []Warning
	warned   map[string]bool
	unread   map[string]bool // chord symbols that were warned of

	all     bool // every line is wanted: see parts.go
	overlay bool // in bars with a second voice behind an &, that one is read
}

// maxWarnings bounds what is said about one file.
const maxWarnings = 20

// warn notes something that is left out, once for each text.
func (r *reading) warn(format string, args ...any) {
	text := plain.Line(fmt.Sprintf(format, args...))
	if r.warned[text] || len(r.warnings) > maxWarnings {
		return
	}
	if r.warned == nil {
		r.warned = map[string]bool{}
	}
	r.warned[text] = true
	if len(r.warnings) == maxWarnings {
		text = "and more of that kind"
	}
	r.warnings = append(r.warnings, Warning(text))
}

// quote quotes what was read, cut to a readable length.
func quote(s string) string {
	r := []rune(strings.ToValidUTF8(s, "?"))
	if len(r) > 30 {
		return fmt.Sprintf("%q…", string(r[:30]))
	}
	return fmt.Sprintf("%q", string(r))
}

// names reads names of degrees or tonic sol-fa notation.
func (r *reading) names(text string) (theory.Score, error) {
	if len(text) > maxNames {
		return theory.Score{}, fmt.Errorf("names of more than %d KiB", maxNames>>10)
	}
	m, err := theory.ParseMelody(text, r.options.Key, r.options.Naming)
	if err != nil {
		return theory.Score{}, err
	}
	if m.Key != r.options.Key && r.options.KeyAsked {
		r.warn("the heading says %s: it goes before %s", m.Key.ASCII(), r.options.Key.ASCII())
	}
	pulse := r.options.Pulse
	if pulse == (theory.Fraction{}) {
		pulse = one
	}
	octave := 4
	if r.options.Octave != nil {
		octave = r.options.Octave(m.Key)
	}
	return m.Score(octave, pulse)
}

// maxNames is the longest text of names that is read, in bytes.
const maxNames = 256 << 10

// rekey puts the key asked for in place of the one that the file names. Pitches
// stay.
func (r *reading) rekey(s *theory.Score) {
	said, asked := s.Key, r.options.Key
	if !r.options.KeyAsked || said == asked {
		return
	}
	s.Key = asked
	for i := range s.Changes {
		if s.Changes[i].Key == said {
			s.Changes[i].Key = asked
		}
	}
	r.warn("the file says %s: its notes stay as they are and are counted in %s, as asked for", said.ASCII(), asked.ASCII())
}

// Write writes a line in a format that is a file format of its own; names need
// a naming: see theory.Score.Melody and theory.Melody.Text.
func Write(w io.Writer, s theory.Score, f Format) error {
	if err := s.Validate(); err != nil {
		return fmt.Errorf("%w: %w", ErrNotation, err)
	}
	var b []byte
	var err error
	switch f {
	case ABC:
		b, err = writeABC(s)
	case MusicXML:
		b, err = writeMusicXML(s)
	case CompressedMusicXML:
		b, err = compress(writeMusicXML(s))
	case MIDI:
		b, err = writeMIDI(s)
	default:
		return fmt.Errorf("%w: nothing is written as %v", ErrNotation, f)
	}
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}
