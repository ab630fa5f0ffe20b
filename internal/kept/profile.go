package kept

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"singback/calib"
	"singback/exercise"
	"singback/internal/tomlfile"
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

// field is a value of a profile as the text has it.
type field struct {
	key     string
	value   any    // *int, *float64, *bool, *string, *calib.Date, or *theory.Range
	comment string // that stands above it; "" none
	digits  int    // of a number, behind the point
	maybe   bool   // left out where it is not known
}

// part is a table of fields, the first without a name.
type part struct {
	name   string
	here   bool // it is known
	fields []field
}

// parts lists all that a text may have, in its order, each with the place where the
// profile keeps it. What is not known gets a place that nobody keeps.
func parts(p *calib.Profile) []part {
	v, r, i := or(p.Voice), or(p.Room), or(p.Instrument)
	return []part{
		{here: true, fields: []field{
			{key: "version", value: &p.Version, comment: "of this kind of file"},
			{key: "name", value: &p.Name},
			{key: "made", value: &p.Made, comment: "day of the last change"},
			{key: "style", value: &p.Style, comment: "of the harmony that the singer plays and hears", maybe: true},
		}},
		{"voice", p.Voice != nil, []field{
			{key: "date", value: &v.Date},
			{key: "stated", value: &v.Stated, comment: "true: as the singer said; false: measured"},
			{key: "kind", value: &v.Kind, comment: "what the singer calls it", maybe: true},
			{key: "growing", value: &v.Growing, comment: "a child's or changing voice, to be tested again after 6 to 8 weeks"},
			{key: "comfortable", value: &v.Comfortable, comment: "lowest and highest comfortable note"},
			{key: "tessitura", value: &v.Tessitura, comment: "where the voice lies most at ease", maybe: true},
			{key: "notes", value: &v.Notes, comment: "how many sung notes the two numbers below rest on"},
			{key: "error_cents", value: &v.Error, comment: "median distance of a note from the one asked, in cents", digits: 2},
			{key: "spread_cents", value: &v.Spread, comment: "median standard deviation within a held note, in cents", digits: 2},
		}},
		{"room", p.Room != nil, []field{
			{key: "date", value: &r.Date},
			{key: "floor_dbfs", value: &r.Floor, comment: "level when nobody sings", digits: 1},
			{key: "gate_dbfs", value: &r.Gate, comment: "what lies below is not the singer", digits: 1},
			{key: "hum_hz", value: &r.Hum, comment: "50 or 60 where the mains hum, else 0", digits: 1},
			{key: "fan", value: &r.Fan, comment: "steady broadband noise"},
			{key: "voice_dbfs", value: &r.Voice, comment: "level of the singer at ease", digits: 1},
			{key: "peak_dbfs", value: &r.Peak, comment: "highest peak of the singer at ease", digits: 1},
			{key: "clipped", value: &r.Clipped, comment: "the singer at ease overloaded the microphone"},
			{key: "leak_tried", value: &r.LeakTried, comment: "whether a test sound was played"},
			{key: "leaks", value: &r.Leaks, comment: "the microphone hears the loudspeaker"},
			{key: "leak_db", value: &r.Leak, comment: "how loud the test sound came back, in dB against what was played", digits: 1},
			{key: "delay_s", value: &r.Delay, comment: "from playback to capture, in seconds; 0 where it was not heard", digits: 4},
		}},
		{"instrument", p.Instrument != nil, []field{
			{key: "date", value: &i.Date},
			{key: "a4_hz", value: &i.A4, comment: "its tuning, in Hz", digits: 4},
			{key: "se_cents", value: &i.SE, comment: "standard error of that, in cents", digits: 2},
			{key: "notes", value: &i.Notes, comment: "how many notes it rests on; 0: as the singer said"},
		}},
	}
}

// or is p, or a place of its own.
func or[T any](p *T) *T {
	if p == nil {
		return new(T)
	}
	return p
}

// EncodeProfile writes a profile as TOML. Notes are spelled with sharps; levels and
// cents are rounded to 0.1 and 0.01, the rest to 0.0001.
func EncodeProfile(p calib.Profile) ([]byte, error) {
	if err := checkProfile(p); err != nil {
		return nil, err
	}
	b := []byte(header)
	for _, part := range parts(&p) {
		if !part.here {
			continue
		}
		if part.name != "" {
			b = fmt.Appendf(b, "\n[%s]\n", part.name)
		}
		for _, f := range part.fields {
			text := f.text()
			if f.maybe && text == "" {
				continue
			}
			if f.comment != "" {
				b = fmt.Appendf(b, "# %s\n", f.comment)
			}
			b = fmt.Appendf(b, "%s = %s\n", f.key, text)
		}
	}
	return b, nil
}

// text writes the value of a field; "" where it is not known.
func (f field) text() string {
	switch v := f.value.(type) {
	case *int:
		return strconv.Itoa(*v)
	case *bool:
		return strconv.FormatBool(*v)
	case *float64:
		s := strconv.FormatFloat(round(*v, f.digits), 'f', -1, 64)
		if !strings.Contains(s, ".") {
			s += ".0"
		}
		return s
	case *string:
		if *v != "" { // letters, digits, spaces, - and _: checkProfile lets nothing else pass
			return "'" + *v + "'"
		}
	case *calib.Date:
		return fmt.Sprintf("%04d-%02d-%02d", v.Year, v.Month, v.Day)
	case *theory.Range:
		if *v != (theory.Range{}) {
			return "['" + note(v.Low) + "', '" + note(v.High) + "']"
		}
	}
	return ""
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
	tables, err := tomlfile.Read(data)
	if err != nil {
		return calib.Profile{}, inLine(err)
	}
	// What a newer version means by its fields is not for this one to say.
	if n, err := tables[0].Values["version"].Int(); err == nil && n > calib.Version {
		return calib.Profile{}, fmt.Errorf("line %d: %w: version %d, this one reads %d", max(1, lineOf(data, "version")), ErrNewer, n, calib.Version)
	}
	var p calib.Profile
	for _, t := range tables {
		if err := fill(&p, t, data); err != nil {
			return calib.Profile{}, err
		}
	}
	if err = checkProfile(p); err == nil {
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

// fill reads a table of a text into a profile. A part may be a table, or stand in braces,
// or its keys may have its name before them.
func fill(p *calib.Profile, t *tomlfile.Table, data []byte) error {
	if t.Name != "" {
		if !know(p, t.Name) || t.Array {
			return noField(data, t.At, t.Name)
		}
	}
	for _, key := range t.Keys {
		v, path := t.Values[key], strings.TrimPrefix(t.Name+"."+key, ".")
		name, field, below := strings.Cut(path, ".")
		if !below {
			name, field = "", path
		}
		if !below && v.Kind == unstable.InlineTable || below && t.Name == "" {
			if !know(p, cmp.Or(name, field)) {
				return noField(data, t.Names[key], path)
			}
		}
		if !below && v.Kind == unstable.InlineTable {
			continue
		}
		to := fieldOf(p, name, field)
		if to == nil {
			return noField(data, t.Names[key], path)
		}
		want, err := to.read(v, path)
		line, _ := tomlfile.Position(data, t.Names[key])
		switch {
		case err != nil:
			return fmt.Errorf("line %d: %w: %w", line, ErrDamaged, err)
		case want != "":
			line, column := tomlfile.Position(data, v.At)
			return fmt.Errorf("line %d, column %d: %w: %s: the value is of kind %s, want %s", line, column, ErrDamaged, path, strings.ToLower(v.Kind.String()), want)
		}
	}
	return nil
}

// know makes a part of a profile known; false where there is no such part.
func know(p *calib.Profile, name string) bool {
	switch name {
	case "voice":
		p.Voice = or(p.Voice)
	case "room":
		p.Room = or(p.Room)
	case "instrument":
		p.Instrument = or(p.Instrument)
	default:
		return false
	}
	return true
}

// fieldOf is a field of a part; nil where there is none.
func fieldOf(p *calib.Profile, name, key string) *field {
	for _, part := range parts(p) {
		for _, f := range part.fields {
			if part.name == name && f.key == key {
				return &f
			}
		}
	}
	return nil
}

func noField(data []byte, at int, path string) error {
	line, _ := tomlfile.Position(data, at)
	return fmt.Errorf("line %d: %w: there is no field %.60q", line, ErrDamaged, path)
}

// read takes a value. Want says which kind it would have to be; path is of the field.
func (f field) read(v tomlfile.Value, path string) (want string, err error) {
	switch to := f.value.(type) {
	case *int:
		n, err := v.Int()
		if v.Kind != unstable.Integer || err != nil || int64(int(n)) != n {
			return "a whole number", nil
		}
		*to = int(n)
	case *float64:
		x, err := v.Float()
		if v.Kind != unstable.Integer && v.Kind != unstable.Float || err != nil {
			return "a number", nil
		}
		*to = x
	case *bool:
		if v.Kind != unstable.Bool {
			return "true or false", nil
		}
		*to = v.Text == "true"
	case *string:
		if v.Kind != unstable.String {
			return "a word in quotes", nil
		}
		*to = v.Text
	case *calib.Date:
		if v.Kind != unstable.LocalDate {
			return "a day like 2026-11-25", nil
		}
		to.Year, to.Month, to.Day, _ = v.Date()
	case *theory.Range:
		var names []string
		for _, item := range v.Items {
			if item.Kind == unstable.String {
				names = append(names, item.Text)
			}
		}
		if v.Kind != unstable.Array || len(names) < len(v.Items) {
			return "two notes in brackets", nil
		}
		*to, err = span(path, names)
	}
	return "", err
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

func round(x float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(x*p)/p + 0
}

// inLine makes one line of what is wrong with the text, with its place.
func inLine(err error) error {
	var at *tomlfile.Error
	if !errors.As(err, &at) {
		return fmt.Errorf("%w: %s", ErrDamaged, oneLine(err.Error()))
	}
	what := at.Problem
	if at.Key != "" && !strings.Contains(what, at.Key) {
		what = at.Key + ": " + what
	}
	return fmt.Errorf("line %d, column %d: %w: %s", at.Line, at.Column, ErrDamaged, oneLine(what))
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
