package drill

import (
	"cmp"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"singback/exercise"
	"singback/internal/plain"
	"singback/theory"
)

// Options are those of a drill: *[Sing], *[Series], *[Dictation], *[Today].
type Options interface {
	AddFlags(Flags)
	Plan() (*Plan, error)
}

// Address is what an address of the page asks for: the word of a command, and, as in
// "sing?key=Eb&degrees=la", its options. They are the flags of the command line; a bare
// word is a flag that is on. A blank is + or %20, a # may stand before it all.
type Address struct {
	Command string
	Drill   Options           // with what the address says; nil for a command that is no drill
	By      Kind              // who answers, where the address says so; else ""
	Values  map[string]string // by their words; that of a bare word is "true"

	words []said
}

// said is a word of an address with its value.
type said struct {
	name, value string
	bare        bool // it has none
}

// Said reports whether the address gave an option, by its word.
func (a Address) Said(name string) bool { _, ok := a.Values[name]; return ok }

// maxAddress is how long an address may be, in bytes.
const maxAddress = 2000

// drills has the options of every drill, by its command.
func drills(command string) (o Options, music **Music) {
	switch command {
	case "sing":
		o := &Sing{}
		return o, &o.Music
	case "series", "echo":
		o := &Series{Echo: command == "echo"}
		return o, &o.Music
	case "dictation":
		o := &Dictation{}
		return o, &o.Music
	case "today":
		o := &Today{}
		return o, &o.Music
	}
	return nil, nil
}

// commands are those of the drills.
var commands = []string{"today", "sing", "series", "echo", "dictation"}

// ReadAddress reads an address of the page: of a drill, whose options it reads, or of
// one of the other commands, whose values are left to the caller. The empty address is
// that of the page itself. Every mistake is a [Wrong].
func ReadAddress(address string, others ...string) (Address, error) {
	a, err := splitAddress(strings.TrimPrefix(address, "#"))
	if err != nil || a.Command == "" {
		return a, err
	}
	options, music := drills(a.Command)
	if options == nil {
		if slices.Contains(others, a.Command) {
			return a, nil
		}
		return a, NoCommand(a.Command, plain.Nearest(a.Command, slices.Concat(commands, others)))
	}
	*music = &Music{Said: a.Said}
	a.Drill = options
	return a, a.read(options)
}

// splitAddress takes an address apart.
func splitAddress(address string) (Address, error) {
	a := Address{Values: map[string]string{}}
	if len(address) > maxAddress {
		return a, wrongf("the address has %d characters: want at most %d", len(address), maxAddress)
	}
	command, query, asked := strings.Cut(address, "?")
	var err error
	if a.Command, err = unescape(command); err != nil {
		return a, err
	}
	if asked && a.Command == "" {
		return a, wrongf("the address names no command: want one like sing?key=Eb")
	}
	for part := range strings.SplitSeq(query, "&") {
		if part == "" {
			continue
		}
		name, value, given := strings.Cut(part, "=")
		s := said{bare: !given}
		if s.name, err = unescape(name); err != nil {
			return a, err
		}
		if s.value, err = unescape(value); err != nil {
			return a, err
		}
		if s.bare {
			s.value = "true"
		}
		a.words = append(a.words, s)
		a.Values[s.name] = s.value
	}
	return a, nil
}

// unescape reads a part of an address.
func unescape(s string) (string, error) {
	var b []byte
	for i := 0; i < len(s); i++ {
		switch c := s[i]; c {
		case '+':
			b = append(b, ' ')
		case '%':
			n := len(b)
			var err error
			if b, err = hex.AppendDecode(b, []byte(s[i+1:min(i+3, len(s))])); err != nil || len(b) == n {
				return "", wrongf("the address: %s is cut short or misspelled: want %%20 for a blank, %%23 for #", quoted(s))
			}
			i += 2
		default:
			b = append(b, c)
		}
	}
	text := string(b)
	if !utf8.ValidString(text) || strings.ContainsFunc(text, plain.Control) {
		return "", wrongf("the address: %s holds what is no text", quoted(s))
	}
	return text, nil
}

func quoted(s string) string { return strconv.QuoteToASCII(plain.Short(s)) }

// read reads the options of a drill.
func (a *Address) read(o Options) error {
	rest := a.words[:0:0]
	for _, s := range a.words {
		if s.name != "input" {
			rest = append(rest, s)
			continue
		}
		kinds := []Kind{ByMicrophone, BySimulation}
		if _, ok := o.(*Dictation); ok && strings.Contains(a.Values["answer"], ByPlaying) && !strings.Contains(a.Values["answer"], BySinging) {
			kinds = []Kind{ByKeys, ByMicrophone, BySimulation}
		} else if ok && !strings.Contains(a.Values["answer"], BySinging) {
			kinds[0] = ByTyping
		}
		var err error
		if a.By, err = ReadKind(s.value, kinds...); err != nil {
			return err
		}
	}
	return read(rest, o.AddFlags, Hidden(o))
}

// Read reads the options of another command, which add defines.
func (a Address) Read(add func(Flags)) error { return read(a.words, add, nil) }

func read(words []said, add func(Flags), hidden []string) error {
	var known options
	add(&known)
	for _, s := range words {
		if err := known.read(s, hidden); err != nil {
			return wrong(err)
		}
	}
	return nil
}

// terminals are the flags of drills, by their words, that only a terminal has.
var terminals = []string{
	"device", "keys", "channel", "part", "to-key", "partial", "output", "output-device", "force", "keep", "record", "no-record", "singer",
	"profile", "format", "course", "date", "help", "progressions", "against", "tune",
}

// options are the options that a command has.
type options []option

type option struct {
	name string
	flag bool // its word alone says that it is on
	set  func(value string) error
}

// read reads a word of an address into the option that it names.
func (o options) read(s said, hidden []string) error {
	i := slices.IndexFunc(o, func(o option) bool { return o.name == s.name })
	switch {
	case i < 0 && slices.Contains(terminals, s.name):
		return fmt.Errorf("the page has no --%s: only the terminal has it", s.name)
	case i < 0:
		var shown []string
		for _, o := range o {
			if !slices.Contains(hidden, o.name) {
				shown = append(shown, o.name)
			}
		}
		return NoFlag(s.name, shown)
	case s.bare && !o[i].flag:
		return fmt.Errorf("flag needs an argument: --%s", s.name)
	}
	if err := o[i].set(s.value); err != nil {
		return InWords(fmt.Errorf("invalid argument %q for %q flag: %w", plain.Short(s.value), "--"+s.name, err))
	}
	return nil
}

// define adds an option whose value parse reads.
func define[T any](o *options, p *T, name string, value T, flag bool, parse func(string) (T, error)) {
	*p = value
	*o = append(*o, option{name, flag, func(s string) (err error) {
		v, err := parse(s)
		if err == nil {
			*p = v
		}
		return err
	}})
}

// The options follow pflag in what they read.

func (o *options) StringVar(p *string, name, value, _ string) {
	define(o, p, name, value, false, func(s string) (string, error) { return s, nil })
}

func (o *options) IntVar(p *int, name string, value int, _ string) {
	define(o, p, name, value, false, func(s string) (int, error) {
		n, err := strconv.ParseInt(s, 0, strconv.IntSize)
		return int(n), err
	})
}

func (o *options) Uint64Var(p *uint64, name string, value uint64, _ string) {
	define(o, p, name, value, false, func(s string) (uint64, error) { return strconv.ParseUint(s, 0, 64) })
}

func (o *options) Float64Var(p *float64, name string, value float64, _ string) {
	define(o, p, name, value, false, func(s string) (float64, error) { return strconv.ParseFloat(s, 64) })
}

func (o *options) BoolVar(p *bool, name string, value bool, _ string) {
	define(o, p, name, value, true, strconv.ParseBool)
}

// NoFlag says that there is no flag of a name, and which of those known was meant.
func NoFlag(name string, known []string) error {
	if near := plain.Nearest(name, known); near != "" {
		return wrongf("there is no flag --%s; did you mean --%s?", plain.Short(name), near)
	}
	return wrongf("there is no flag --%s", plain.Short(name))
}

// NoCommand says that there is no command of a name, and which was meant, if any.
func NoCommand(name string, meant ...string) error {
	if meant = slices.DeleteFunc(meant, func(s string) bool { return s == "" }); len(meant) > 0 {
		return wrongf("there is no command %q; did you mean %s?", plain.Short(name), strings.Join(meant, " or "))
	}
	return wrongf("there is no command %q", plain.Short(name))
}

// InWords is an error about the value of an option, with what the standard library says
// of a number that is none in words.
func InWords(err error) error {
	var n *strconv.NumError
	if !errors.As(err, &n) {
		return err
	}
	want := map[string]string{"ParseFloat": "want a number", "ParseBool": "want true or false"}[n.Func]
	return errors.New(strings.Replace(err.Error(), n.Error(), cmp.Or(want, "want a whole number"), 1))
}

// ReadKind reads who answers, one of some kinds.
func ReadKind(word string, kinds ...Kind) (Kind, error) {
	if k := Kind(word); slices.Contains(kinds, k) {
		return k, nil
	}
	want := string(kinds[0])
	for _, k := range kinds[1 : len(kinds)-1] {
		want += ", " + string(k)
	}
	return "", wrongf("--input: %q: want %s or %s", plain.Short(word), want, kinds[len(kinds)-1])
}

// WriteAddress writes the address of a command with options, each a word and a value;
// those without a value are left out.
func WriteAddress(command string, options ...string) string {
	address, sign := command, "?"
	for i := 0; i+1 < len(options); i += 2 {
		if options[i+1] != "" {
			address += sign + options[i] + "=" + escape(options[i+1])
			sign = "&"
		}
	}
	return address
}

// escape writes a value so that unescape reads it.
func escape(s string) string {
	var b strings.Builder
	for i := range len(s) {
		switch c := s[i]; {
		case c == ' ':
			b.WriteByte('+')
		case 'a' <= c && c <= 'z', 'A' <= c && c <= 'Z', '0' <= c && c <= '9', strings.IndexByte("-_.~,", c) >= 0:
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}

// SkillAddress is the address of the drill that practises a skill, in C where the skill
// has no key: in minor what belongs to minor alone. What is heard is told from what the
// drill asks by itself; a move may be asked in either direction.
func SkillAddress(s exercise.Skill) string {
	key := keyOf(s)
	word := ""
	if key.Mode == theory.Minor {
		word = key.ASCII()
	}
	name := func(d theory.Degree) string { return theory.Movable.NameASCII(key, d) }
	among := func(word, list string) string {
		words := strings.Fields(list)
		if !slices.Contains(words, word) {
			words = append([]string{word}, words...)
		}
		return strings.Join(words, " ")
	}
	switch s.Kind {
	case exercise.PairSkill:
		return WriteAddress("sing", "key", word, "from", name(s.From), "degrees", name(s.Degree))
	case exercise.KeySkill:
		return WriteAddress("sing", "key", s.Key.ASCII())
	case exercise.BassSkill:
		return WriteAddress("dictation", "of", "bass", "key", word, "degrees", among(name(s.Degree), usualBass))
	case exercise.RootSkill:
		return WriteAddress("dictation", "of", OfProgression, "key", word, "degrees", among(name(s.Degree), usualBass))
	case exercise.QualitySkill:
		return WriteAddress("dictation", "of", "quality", "qualities", among(s.Chord, usualQualities))
	case exercise.MelodySkill:
		return WriteAddress("series", "level", strconv.Itoa(s.Level))
	}
	return WriteAddress("sing", "key", word, "degrees", name(s.Degree))
}

// keyOf is C major, or C minor for a skill whose degrees belong to minor and not to major.
func keyOf(s exercise.Skill) theory.Key {
	major := theory.Key{Tonic: theory.Note{Letter: theory.C}}
	minor := theory.Key{Tonic: major.Tonic, Mode: theory.Minor}
	belong := func(k theory.Key, degrees ...theory.Degree) bool {
		return !slices.ContainsFunc(degrees, func(d theory.Degree) bool {
			return exercise.DegreeSkillOf(k, d).Kind != exercise.DegreeSkill
		})
	}
	degrees := []theory.Degree{s.Degree}
	switch s.Kind {
	case exercise.PairSkill:
		degrees = append(degrees, s.From)
	case exercise.DegreeSkill, exercise.BassSkill, exercise.RootSkill:
	default:
		return major
	}
	if !belong(major, degrees...) && belong(minor, degrees...) {
		return minor
	}
	return major
}

// Commands are the words of the drills.
func Commands() []string { return slices.Clone(commands) }
