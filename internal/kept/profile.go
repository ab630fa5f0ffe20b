package kept

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"singback/calib"
	"singback/exercise"
	"singback/theory"
)

// The kinds of texts that are no profile to use.
var (
	// ErrDamaged is wrapped by the error about a text that is no profile, or no
	// whole one.
	ErrDamaged = errors.New("not a readable profile")
	// ErrNewer is wrapped by the error about a profile that a newer singback
	// wrote.
	ErrNewer = errors.New("made by a newer singback")
)

// MaxProfile is the largest text, in bytes, that is read as a profile. Ours have
// about 2000.
const MaxProfile = 64 << 10

// header begins every profile.
const header = `# What singback knows of a singer: the voice, the room and the microphone, the
# instrument. It may be edited. Notes are like C3, Bb3 or F#4 (C4 is middle C),
# levels are in dBFS, which says nothing of dB SPL. A part that is missing is not
# known.

`

// file is a profile as the text has it.
type file struct {
	Version    int             `toml:"version" comment:"of this kind of file"`
	Name       string          `toml:"name"`
	Made       toml.LocalDate  `toml:"made" comment:"day of the last change"`
	Style      string          `toml:"style,omitempty" comment:"of the harmony that the singer plays and hears"`
	Voice      *voiceFile      `toml:"voice,omitempty"`
	Room       *roomFile       `toml:"room,omitempty"`
	Instrument *instrumentFile `toml:"instrument,omitempty"`
}

type voiceFile struct {
	Date        toml.LocalDate `toml:"date"`
	Stated      bool           `toml:"stated" comment:"true: as the singer said; false: measured"`
	Kind        string         `toml:"kind,omitempty" comment:"what the singer calls it"`
	Growing     bool           `toml:"growing" comment:"a child's or changing voice, to be tested again after 6 to 8 weeks"`
	Comfortable []string       `toml:"comfortable" comment:"lowest and highest comfortable note"`
	Tessitura   []string       `toml:"tessitura,omitempty" comment:"where the voice lies most at ease"`
	Notes       int            `toml:"notes" comment:"how many sung notes the two numbers below rest on"`
	Error       float64        `toml:"error_cents" comment:"median distance of a note from the one asked, in cents"`
	Spread      float64        `toml:"spread_cents" comment:"median standard deviation within a held note, in cents"`
}

type roomFile struct {
	Date      toml.LocalDate `toml:"date"`
	Floor     float64        `toml:"floor_dbfs" comment:"level when nobody sings"`
	Gate      float64        `toml:"gate_dbfs" comment:"what lies below is not the singer"`
	Hum       float64        `toml:"hum_hz" comment:"50 or 60 where the mains hum, else 0"`
	Fan       bool           `toml:"fan" comment:"steady broadband noise"`
	Voice     float64        `toml:"voice_dbfs" comment:"level of the singer at ease"`
	Peak      float64        `toml:"peak_dbfs" comment:"highest peak of the singer at ease"`
	Clipped   bool           `toml:"clipped" comment:"the singer at ease overloaded the microphone"`
	LeakTried bool           `toml:"leak_tried" comment:"whether a test sound was played"`
	Leaks     bool           `toml:"leaks" comment:"the microphone hears the loudspeaker"`
	Leak      float64        `toml:"leak_db" comment:"how loud the test sound came back, in dB against what was played"`
	Delay     float64        `toml:"delay_s" comment:"from playback to capture, in seconds; 0 where it was not heard"`
}

type instrumentFile struct {
	Date  toml.LocalDate `toml:"date"`
	A4    float64        `toml:"a4_hz" comment:"its tuning, in Hz"`
	SE    float64        `toml:"se_cents" comment:"standard error of that, in cents"`
	Notes int            `toml:"notes" comment:"how many notes it rests on; 0: as the singer said"`
}

// EncodeProfile writes a profile as TOML. Notes are spelled with sharps; levels and
// cents are rounded to 0.1 and 0.01, the rest to 0.0001.
func EncodeProfile(p calib.Profile) ([]byte, error) {
	if err := checkProfile(p); err != nil {
		return nil, err
	}
	f := file{Version: p.Version, Name: p.Name, Made: toToml(p.Made), Style: p.Style}
	if v := p.Voice; v != nil {
		f.Voice = &voiceFile{
			toToml(v.Date), v.Stated, v.Kind, v.Growing, notes(v.Comfortable), notes(v.Tessitura),
			v.Notes, round(v.Error, 2), round(v.Spread, 2),
		}
	}
	if r := p.Room; r != nil {
		f.Room = &roomFile{
			toToml(r.Date), round(r.Floor, 1), round(r.Gate, 1), r.Hum, r.Fan, round(r.Voice, 1), round(r.Peak, 1),
			r.Clipped, r.LeakTried, r.Leaks, round(r.Leak, 1), round(r.Delay, 4),
		}
	}
	if i := p.Instrument; i != nil {
		f.Instrument = &instrumentFile{toToml(i.Date), round(i.A4, 4), round(i.SE, 2), i.Notes}
	}
	body, err := toml.Marshal(f)
	if err != nil {
		return nil, fmt.Errorf("write profile of %s: %w", p.Name, err)
	}
	return append([]byte(header), body...), nil
}

// DecodeProfile reads a profile. Its errors wrap ErrNewer or ErrDamaged and name the
// line where there is one, and the field.
func DecodeProfile(data []byte) (calib.Profile, error) {
	if len(data) > MaxProfile {
		return calib.Profile{}, fmt.Errorf("%w: more than %d bytes", ErrDamaged, MaxProfile)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return calib.Profile{}, fmt.Errorf("%w: it is empty", ErrDamaged)
	}
	// What a newer version means by its fields is not for this one to say.
	var first struct {
		Version int `toml:"version"`
	}
	if err := toml.Unmarshal(data, &first); err != nil {
		return calib.Profile{}, inLine(err)
	}
	if first.Version > calib.Version {
		return calib.Profile{}, fmt.Errorf("line %d: %w: version %d, this one reads %d", max(1, lineOf(data, "version")), ErrNewer, first.Version, calib.Version)
	}
	var f file
	d := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return calib.Profile{}, inLine(err)
	}
	p, err := f.profile()
	if err == nil {
		err = checkProfile(p)
	}
	if err == nil {
		return p, nil
	}
	var bad calib.Invalid
	if errors.As(err, &bad) {
		if n := lineOf(data, bad.Field); n > 0 {
			return calib.Profile{}, fmt.Errorf("line %d: %w: %w", n, ErrDamaged, err)
		}
	}
	return calib.Profile{}, fmt.Errorf("%w: %w", ErrDamaged, err)
}

// checkProfile validates a profile, with what only music knows of it and what a name
// of a file allows.
func checkProfile(p calib.Profile) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if err := CheckName(p.Name); err != nil {
		return err
	}
	if v := p.Voice; v != nil && v.Kind != "" {
		if _, err := exercise.VoiceNamed(v.Kind); err != nil {
			return calib.Invalid{Field: "voice.kind", Problem: err.Error()}
		}
	}
	return nil
}

func (f file) profile() (calib.Profile, error) {
	p := calib.Profile{Version: f.Version, Name: f.Name, Made: fromToml(f.Made), Style: f.Style}
	if v := f.Voice; v != nil {
		p.Voice = &calib.Voice{
			Date: fromToml(v.Date), Stated: v.Stated, Kind: v.Kind, Growing: v.Growing,
			Notes: v.Notes, Error: v.Error, Spread: v.Spread,
		}
		var err error
		if p.Voice.Comfortable, err = span("voice.comfortable", v.Comfortable); err != nil {
			return p, err
		}
		if v.Tessitura != nil {
			if p.Voice.Tessitura, err = span("voice.tessitura", v.Tessitura); err != nil {
				return p, err
			}
		}
	}
	if r := f.Room; r != nil {
		p.Room = &calib.Room{
			Date: fromToml(r.Date), Floor: r.Floor, Gate: r.Gate, Hum: r.Hum, Fan: r.Fan, Voice: r.Voice, Peak: r.Peak,
			Clipped: r.Clipped, LeakTried: r.LeakTried, Leaks: r.Leaks, Leak: r.Leak, Delay: r.Delay,
		}
	}
	if i := f.Instrument; i != nil {
		p.Instrument = &calib.Instrument{Date: fromToml(i.Date), A4: i.A4, SE: i.SE, Notes: i.Notes}
	}
	return p, nil
}

// notes writes a span as its two notes; nil for none.
func notes(r theory.Range) []string {
	if r == (theory.Range{}) {
		return nil
	}
	return []string{note(r.Low), note(r.High)}
}

// sharps are the names of the notes from C up.
var sharps = strings.Fields("C C# D D# E F F# G G# A A# B")

func note(midi int) string { return fmt.Sprintf("%s%d", sharps[midi%12], midi/12-1) }

func span(field string, names []string) (theory.Range, error) {
	if len(names) != 2 {
		return theory.Range{}, calib.Invalid{Field: field, Problem: fmt.Sprintf(`%d notes: want the lowest and the highest, like ["C3", "G4"]`, len(names))}
	}
	var midi [2]int
	for i, s := range names {
		p, err := theory.ParsePitch(s)
		if err != nil {
			return theory.Range{}, calib.Invalid{Field: field, Problem: err.Error()}
		}
		midi[i] = p.MIDI()
	}
	return theory.Range{Low: midi[0], High: midi[1]}, nil
}

func toToml(d calib.Date) toml.LocalDate {
	return toml.LocalDate{Year: d.Year, Month: d.Month, Day: d.Day}
}

func fromToml(d toml.LocalDate) calib.Date {
	return calib.Date{Year: d.Year, Month: d.Month, Day: d.Day}
}

func round(x float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(x*p)/p + 0
}

// inLine makes one line of what the decoder says, with the line of the file.
func inLine(err error) error {
	var strict *toml.StrictMissingError
	var at *toml.DecodeError
	switch {
	case errors.As(err, &strict) && len(strict.Errors) > 0:
		at = &strict.Errors[0]
		row, _ := at.Position()
		return fmt.Errorf("line %d: %w: there is no field %.60q", row, ErrDamaged, strings.Join(at.Key(), "."))
	case errors.As(err, &at):
		row, column := at.Position()
		what := strings.TrimPrefix(at.Error(), "toml: ")
		if got, want, ok := wrongKind(what); ok {
			what = fmt.Sprintf("the value is of kind %s, want %s", got, cmp.Or(kinds[want], "a table"))
		}
		if key := strings.Join(at.Key(), "."); key != "" && !strings.Contains(what, key) {
			what = key + ": " + what
		}
		return fmt.Errorf("line %d, column %d: %w: %s", row, column, ErrDamaged, oneLine(what))
	}
	return fmt.Errorf("%w: %s", ErrDamaged, oneLine(strings.TrimPrefix(err.Error(), "toml: ")))
}

// kinds are what fields hold, by their types.
var kinds = map[string]string{
	"float64": "a number", "int": "a whole number", "string": "a word in quotes", "bool": "true or false",
	"[]string": "two notes in brackets", "toml.LocalDate": "a day like 2026-11-25",
}

// wrongKind reads how the decoder says that a value is of another kind than the field,
// "cannot decode TOML KIND into struct field NAME of type TYPE": the kind, and the type.
func wrongKind(text string) (kind, of string, ok bool) {
	text, ok = strings.CutPrefix(text, "cannot decode TOML ")
	kind, rest, ok2 := strings.Cut(text, " into struct field ")
	name, of, ok3 := strings.Cut(rest, " of type ")
	isSpace := func(s string) bool { return s == "" || strings.ContainsAny(s, "\t\n\f\r ") }
	isOther := func(r rune) bool {
		return r != '_' && (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z')
	}
	if !ok || !ok2 || !ok3 || kind == "" || strings.ContainsFunc(kind, isOther) || isSpace(name) || isSpace(of) {
		return "", "", false
	}
	return kind, of, true
}

// oneLine makes a message fit into a line, whatever it quotes.
func oneLine(s string) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "?")), " ")
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, s)
	if r := []rune(s); len(r) > 120 {
		s = string(r[:120]) + "..."
	}
	return s
}

// lineOf finds the line, from 1, that gives a field; that of its table where
// the field is missing; 0 where there is neither.
func lineOf(data []byte, field string) int {
	table, key, dotted := strings.Cut(field, ".")
	if !dotted {
		table, key = "", field
	}
	in, found := "", 0
	for i, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(line, "[] \t")
			if in == table {
				found = i + 1
			}
			continue
		}
		if name, _, ok := strings.Cut(line, "="); ok && in == table && strings.TrimSpace(name) == key {
			return i + 1
		}
	}
	return found
}
