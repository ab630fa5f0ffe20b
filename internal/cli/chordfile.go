package cli

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise/compose"
	"singback/internal/notation"
	"singback/theory"
)

// chordFile are the chord symbols of a file of music, as chords of its key.
type chordFile struct {
	path   string
	key    theory.Key
	chords []theory.Roman // none twice in a row
	keys   []theory.Key   // of each, where the file changes its key
}

// partHelp is what --part says.
const partHelp = "the voice, part or track of a notation file: its `NAME` or number"

// addPart adds the flags that choose among the tunes and the parts of a file.
func addPart(cmd *cobra.Command, tune, part *string) {
	addTune(cmd, tune)
	cmd.Flags().StringVar(part, "part", "", partHelp)
}

// addTune adds the one for tunes.
func addTune(cmd *cobra.Command, tune *string) {
	cmd.Flags().StringVar(tune, "tune", "", "of a file of ABC with several, the `TUNE`: its number (X:) or title")
}

// toKey reads --to-key; nil without it.
func toKey(text string) (*theory.Key, error) {
	if text == "" {
		return nil, nil
	}
	k, err := theory.ParseModalKey(text)
	if err != nil {
		return nil, usage(fmt.Errorf("--to-key: %w", err))
	}
	return &k, nil
}

// moved moves the music of a file into a key, nil: it stays, and says what the file holds
// that was left out or cannot be moved.
func (e *env) moved(path string, score theory.Score, to *theory.Key, warnings []notation.Warning) (theory.Score, error) {
	if to != nil {
		if text := notation.Unmoved(score); text != "" {
			warnings = append(warnings, notation.Warning(text))
		}
		var err error
		if score, err = score.In(*to); err != nil {
			return score, usage(fmt.Errorf("--to-key: %s: %w", path, err))
		}
	}
	for _, w := range warnings {
		fmt.Fprintf(e.stderr, "%s: %s\n", path, w)
	}
	return score, nil
}

// chordFlags are those of a command that may read its chords from a file.
type chordFlags struct {
	part  string
	tune  string
	toKey string
}

// add adds --part, and where a command moves chords --to-key.
func (c *chordFlags) add(cmd *cobra.Command, moves bool) {
	addPart(cmd, &c.tune, &c.part)
	if moves {
		cmd.Flags().StringVar(&c.toKey, "to-key", "", "move it to this `KEY` of the same mode")
		complete(cmd, map[string][]string{"to-key": keyNames(false)})
	}
}

// read reads the chord symbols of a file, where the arguments name one; nil where they
// are chords, or what else a command takes.
func (c *chordFlags) read(e *env, args []string, keyName string) (*chordFile, error) {
	if len(args) == 1 {
		switch music, err := holdsMusic(args[0]); {
		case err != nil:
			return nil, err
		case music:
			return c.open(e, args[0], keyName)
		}
	}
	for word, value := range map[string]string{"part": c.part, "tune": c.tune, "to-key": c.toKey} {
		if value != "" {
			return nil, usagef("--%s: it is about chord symbols from a file: name a FILE of music", word)
		}
	}
	return nil, nil
}

// open reads the chord symbols of a file.
func (c *chordFlags) open(e *env, path, keyName string) (*chordFile, error) {
	b, err := e.readUpTo(path, notation.MaxFile, "a file of music")
	if err != nil {
		return nil, err
	}
	return c.parse(e, path, b, keyName)
}

func (c *chordFlags) parse(e *env, path string, b []byte, keyName string) (*chordFile, error) {
	options := notation.Options{Voice: c.part, Tune: c.tune, Octave: middleOctave, Chords: true}
	var err error
	if keyName != "" {
		if options.Key, err = theory.ParseModalKey(keyName); err != nil {
			return nil, usage(fmt.Errorf("--key: %w", err))
		}
		options.KeyAsked = true
	}
	score, warnings, err := notation.Read(path, bytes.NewReader(b), options)
	if err != nil {
		return nil, err
	}
	to, err := toKey(c.toKey)
	if err != nil {
		return nil, err
	}
	if score, err = e.moved(path, score, to, warnings); err != nil {
		return nil, err
	}
	out := &chordFile{path: path, key: e.plainKey(path, score.Key)}
	key, changes := out.key, score.Changes
	left := 0
	var last theory.Chord
	for i, s := range score.Symbols {
		for len(changes) > 0 && !s.At.Less(changes[0].At) {
			if changes[0].Key != score.Key || key != out.key {
				key = e.plainKey(path, changes[0].Key)
			}
			changes = changes[1:]
		}
		switch {
		case s.Chord == (theory.Chord{}):
			if !s.Silent() {
				left++
			}
			last = s.Chord
			continue
		case i > 0 && s.Chord == last:
			continue
		}
		last = s.Chord
		out.chords, out.keys = append(out.chords, key.Roman(s.Chord)), append(out.keys, key)
	}
	if len(out.chords) == 0 {
		return nil, fmt.Errorf("%s: it has no chord symbols that can be read; want some over its notes, like %q in ABC or <harmony> in MusicXML", path, "\"C\"")
	}
	if left > 0 {
		fmt.Fprintf(e.stderr, "%s: %s not read, and left out.\n", path, plural(left, "chord symbol is", "chord symbols are"))
	}
	return out, nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// plainKey is the key in which the chords of a file are counted: chords are known in
// major and minor, so that of a church mode is the one of the two with its third.
func (e *env) plainKey(path string, k theory.Key) theory.Key {
	if k.Mode <= theory.Minor {
		return k
	}
	plain := theory.Key{Tonic: k.Tonic}
	if k.ScaleDegrees()[2].Alter < 0 {
		plain.Mode = theory.Minor
	}
	fmt.Fprintf(e.stderr, "%s: its chords are counted in %s, since those of %s are not known.\n", path, plain.ASCII(), k.ASCII())
	return plain
}

// oneKey is the key of all chords, or says that the file has several.
func (f *chordFile) oneKey(e *env) theory.Key {
	if slices.ContainsFunc(f.keys, func(k theory.Key) bool { return k != f.key }) {
		fmt.Fprintf(e.stderr, "%s: it changes its key; all of its chords are counted in %s.\n", f.path, f.key.ASCII())
		for i, c := range f.chords {
			f.chords[i] = f.key.Roman(c.Chord)
		}
	}
	return f.key
}

// groups cuts the chords into questions of so many, in one key each; a single chord that
// is left over is no question, and of those that cannot be asked it is told.
func (f *chordFile) groups(e *env, length int) (out []compose.Dictation) {
	for from := 0; from < len(f.chords); {
		to := from
		for to < len(f.chords) && to-from < length && f.keys[to] == f.keys[from] {
			to++
		}
		switch d, err := compose.GivenProgression(f.keys[from], f.chords[from:to]); {
		case err != nil:
			fmt.Fprintf(e.stderr, "%s: chords %d to %d are not asked: %v.\n", f.path, from+1, to, err)
		case to-from > 1 || length == 1 || len(f.chords) == 1:
			out = append(out, d)
		}
		from = to
	}
	return out
}

// maxProgressionFile is the longest file of progressions that is read, in bytes.
const maxProgressionFile = 1 << 20

// readGiven reads the questions of a file: music with chord symbols, or lines of chords.
func (o *dictationOptions) readGiven(e *env) error {
	if o.progressions == "" {
		for word, value := range map[string]string{"part": o.chords.part, "tune": o.chords.tune} {
			if value != "" {
				return usagef("--%s: it is about chord symbols from a file: name one with --progressions", word)
			}
		}
		return nil
	}
	b, err := e.readUpTo(o.progressions, notation.MaxFile, "a file of progressions or of music")
	if err != nil {
		return err
	}
	if !notation.HoldsNames(o.progressions, b) {
		key := o.Music.Key
		if !o.Music.Said("key") {
			key = ""
		}
		f, err := o.chords.parse(e, o.progressions, b, key)
		if err != nil {
			return err
		}
		length := 4
		if o.Music.Said("length") {
			length = max(1, min(o.Length, compose.MaxDictation))
		}
		if o.Given = f.groups(e, length); len(o.Given) == 0 {
			return fmt.Errorf("%s: none of its chords can be asked", o.progressions)
		}
		return nil
	}
	if len(b) > maxProgressionFile {
		return fmt.Errorf("%s holds more than %d MiB: want progressions, a line each", o.progressions, maxProgressionFile>>20)
	}
	return o.readLines(string(b))
}

// readLines reads progressions, a line each: chords, with their key and a colon before
// them where it is another than that of the line above; "key: G" alone is one, too. What stands behind # is a remark.
func (o *dictationOptions) readLines(text string) error {
	key, err := o.Music.ReadKey("--key", func() uint64 { return o.Seed })
	if err != nil {
		return err
	}
	said := o.Music.Said("key")
	n := 0
	for line := range strings.Lines(strings.TrimPrefix(text, "\ufeff")) {
		n++
		line, _ = cutRemark(line)
		wrong := func(err error) error { return fmt.Errorf("%s: line %d: %w", o.progressions, n, err) }
		if head, rest, ok := strings.Cut(line, ":"); ok {
			name := strings.TrimSpace(head)
			if strings.EqualFold(name, "key") {
				name, rest = rest, ""
			}
			if k, err := theory.ParseKey(name); err == nil {
				key, said, line = k, true, rest
			} else if rest == "" {
				return wrong(err)
			}
		}
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		chords, err := theory.ParseProgression(line, key)
		if err != nil {
			return wrong(err)
		}
		if symbol := firstSymbol(line); symbol != "" && !said {
			return wrong(fmt.Errorf("%q is a chord symbol: in which key? want it before the chords, like \"G: G C D7 G\", or --key", symbol))
		}
		d, err := compose.GivenProgression(key, chords)
		if err != nil {
			return wrong(err)
		}
		if o.Given = append(o.Given, d); len(o.Given) > maxChords {
			return wrong(fmt.Errorf("more than %d progressions", maxChords))
		}
	}
	if len(o.Given) == 0 {
		return fmt.Errorf("%s: there is no progression; want a line for each, like \"I IV V7 I\", \"1 4 57 1\" or \"G: G C D7 G\"", o.progressions)
	}
	return nil
}

// cutRemark takes a remark from the end of a line: # behind a blank, or first. Behind a
// letter it is a sharp.
func cutRemark(line string) (before, remark string) {
	for i := range line {
		if line[i] == '#' && (i == 0 || line[i-1] == ' ' || line[i-1] == '\t') && (i+1 == len(line) || !strings.ContainsRune("1234567iIvV", rune(line[i+1]))) {
			return line[:i], line[i+1:]
		}
	}
	return line, ""
}

// firstSymbol is the first word of a progression that is a chord symbol; "" without one.
func firstSymbol(line string) string {
	words, _ := theory.CutChords(line)
	for _, w := range words {
		if _, err := theory.ParseNumber(w, theory.Key{}); err == nil {
			continue
		}
		if _, err := theory.ParseChord(w); err == nil {
			return w
		}
	}
	return ""
}
