package class

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"singback/internal/tomlfile"
)

// MaxRubric is the size of the largest text of a rubric that is read, in bytes.
const MaxRubric = 1 << 20

// RubricError says what is wrong in the text of a rubric, and where.
type RubricError struct {
	File         string // "": not said
	Line, Column int    // from 1; in characters
	Word         string // what stands there; "" where something is missing
	Problem      string
}

func (e *RubricError) Error() string {
	at := fmt.Sprintf("line %d, column %d", e.Line, e.Column)
	if e.File != "" {
		at = e.File + ": " + at
	}
	if e.Word != "" {
		word := []rune(e.Word)
		if len(word) > 30 {
			word = append(word[:30:30], '…')
		}
		at += ", " + strconv.Quote(string(word))
	}
	return at + ": " + e.Problem
}

// rubricReader reads one text.
type rubricReader struct {
	file string
	data []byte
}

func (r *rubricReader) errorAt(at int, word, format string, args ...any) error {
	line, column := tomlfile.Position(r.data, at)
	return &RubricError{r.file, line, column, word, strings.Join(strings.Fields(fmt.Sprintf(format, args...)), " ")}
}

func (r *rubricReader) bad(v tomlfile.Value, format string, args ...any) error {
	word := v.Text
	if v.Kind == unstable.Array || v.Kind == unstable.InlineTable {
		word = ""
	}
	return r.errorAt(v.At, word, format, args...)
}

// ParseRubric reads the text of a rubric, a small file of TOML; file is its name, for
// errors, each of which is a [RubricError].
func ParseRubric(file, text string) (Rubric, error) {
	r := &rubricReader{file, []byte(text)}
	if len(text) > MaxRubric {
		return Rubric{}, r.errorAt(0, "", "the file is larger than %d bytes", MaxRubric)
	}
	tables, err := tomlfile.Read(r.data)
	var wrong *tomlfile.Error
	if errors.As(err, &wrong) {
		return Rubric{}, &RubricError{file, wrong.Line, wrong.Column, wrong.Key, wrong.Problem}
	} else if err != nil {
		return Rubric{}, err
	}
	out := Rubric{Text: text}
	seen := map[string]tomlfile.Value{}
	counts := -1 // where the table stands
	for _, t := range tables {
		switch {
		case t.Name == "counts" && !t.Array:
			counts = t.At
		case t.Name == "counts":
			return Rubric{}, r.errorAt(t.At, t.Name, "want it in one pair of brackets: [counts]")
		case t.Name != "":
			return Rubric{}, r.errorAt(t.At, t.Name, "no such table: want [counts]")
		}
		for _, key := range t.Keys {
			at, v, name := t.Names[key], t.Values[key], key
			if counts := t.Name == "counts"; !counts {
				if err := r.key(&out, at, key, v, seen); err != nil {
					return Rubric{}, err
				}
				var ok bool
				if name, ok = strings.CutPrefix(key, "counts."); !ok {
					continue
				}
			}
			if err := r.weight(&out, at, name, v); err != nil {
				return Rubric{}, err
			}
		}
	}
	if v, ok := seen["counts"]; ok {
		counts = v.At
	}
	return out, r.whole(&out, seen, counts)
}

var rubricKeys = []string{"name", "source", "pass", "points", "pieces"}

// key reads a key of the root.
func (r *rubricReader) key(out *Rubric, at int, key string, v tomlfile.Value, seen map[string]tomlfile.Value) (err error) {
	if key == "counts" || strings.HasPrefix(key, "counts.") {
		if key == "counts" && v.Kind != unstable.InlineTable {
			return r.bad(v, "counts wants a table: [counts] and below it lines like notes = 1")
		}
		seen["counts"] = tomlfile.Value{At: at}
		return nil
	}
	seen[key] = v
	switch key {
	case "name":
		if out.Name, err = r.text(v, key); err == nil {
			if bad := CheckName(out.Name); bad != nil {
				err = r.bad(v, "%s", bad)
			}
		}
	case "source":
		if out.Source, err = r.text(v, key); err == nil {
			if bad := checkWords("the source", out.Source); bad != nil {
				err = r.bad(v, "%s", bad)
			}
		}
	case "pass":
		if v.Kind == unstable.String {
			if out.EvenJury = v.Text == "jury"; !out.EvenJury {
				err = r.bad(v, `pass wants a number from 0 to 1, or "jury"`)
			}
			break
		}
		out.Pass, err = r.number(v, key, 0, 1, false)
	case "points":
		var n float64
		n, err = r.number(v, key, 0, MaxPoints, true)
		out.Points = int(n)
	case "pieces":
		var n float64
		n, err = r.number(v, key, 0, MaxPieces, true)
		out.Pieces = int(n)
	default:
		err = r.errorAt(at, key, "no such key: want %s, and a table [counts]", strings.Join(rubricKeys, ", "))
	}
	return err
}

func (r *rubricReader) text(v tomlfile.Value, key string) (string, error) {
	if v.Kind != unstable.String {
		return "", r.bad(v, "%s wants a text in quotes", key)
	}
	return v.Text, nil
}

func (r *rubricReader) number(v tomlfile.Value, key string, low, high float64, whole bool) (float64, error) {
	x, err := v.Float()
	if v.Kind != unstable.Integer && v.Kind != unstable.Float || err != nil || whole && x != math.Trunc(x) {
		kind := "number"
		if whole {
			kind = "whole number"
		}
		return 0, r.bad(v, "%s wants a %s from %g to %g", key, kind, low, high)
	}
	if !(x >= low && x <= high) {
		return 0, r.bad(v, "%s is out of range: want %g to %g", key, low, high)
	}
	return x, nil
}

// weight reads a line of the table counts.
func (r *rubricReader) weight(out *Rubric, at int, name string, v tomlfile.Value) error {
	c, err := ParseCriterion(name)
	if err != nil {
		return r.errorAt(at, name, "%s", err)
	}
	out.Weights[c], err = r.number(v, name, 0, MaxWeight, false)
	return err
}

// whole reports what is missing, and what does not go together.
func (r *rubricReader) whole(out *Rubric, seen map[string]tomlfile.Value, counts int) error {
	for _, key := range []string{"name", "pass"} {
		if _, ok := seen[key]; !ok {
			want := map[string]string{"name": `"what it counts"`, "pass": "0.7"}[key]
			return r.errorAt(0, "", "there is no %s: want a line like %s = %s", key, key, want)
		}
	}
	if counts < 0 {
		return r.errorAt(len(r.data), "", "there is no [counts]: want it, and below it lines like notes = 1")
	}
	if !slices.ContainsFunc(out.Weights[:], func(w float64) bool { return w > 0 }) {
		return r.errorAt(counts, "counts", "nothing counts: want at least one weight above 0, like notes = 1")
	}
	if v := seen["pass"]; out.EvenJury && out.Validate() != nil {
		return r.bad(v, "wants faults alone to count; with anything else want a number from 0 to 1")
	}
	if v, ok := seen["pieces"]; ok && out.Weights[Segments] == 0 {
		return r.bad(v, "pieces are those of segments, which do not count here")
	}
	if err := out.Validate(); err != nil { // unreachable: each value was checked
		return r.errorAt(0, "", "%s", err)
	}
	return nil
}

// WriteRubric is the text of a rubric, which ParseRubric reads back as the same, with
// comments that say what can be changed.
func WriteRubric(r Rubric) string {
	var b strings.Builder
	b.WriteString("# A rubric: what counts in a mark, how much, and where the pass is.\n# What it gives is not an examination mark.\n")
	fmt.Fprintf(&b, "name = %s\n", tomlfile.Text(r.Name))
	if r.Source != "" {
		fmt.Fprintf(&b, "# Where the way of counting comes from.\nsource = %s\n", tomlfile.Text(r.Source))
	}
	if r.EvenJury {
		b.WriteString("# Where a jury is as likely to let a take pass as not; or a number from 0 to 1.\npass = \"jury\"\n")
	} else {
		fmt.Fprintf(&b, "# From 0 to 1; with faults alone also \"jury\": where a jury is as likely to let a\n# take pass as not.\npass = %s\n", strconv.FormatFloat(r.Pass, 'f', -1, 64))
	}
	fmt.Fprintf(&b, "# What a full mark is called; 0: marks are shown in per cent.\npoints = %d\n", r.Points)
	if r.Weights[Segments] > 0 {
		fmt.Fprintf(&b, "# How many segments a line is parted into; 0: half bars.\npieces = %d\n", r.Pieces)
	}
	b.WriteString("\n# How much each thing counts, against the others. What is not here does not.\n[counts]\n")
	for c, w := range r.Weights {
		line := fmt.Sprintf("%-11s = %s", Criterion(c), strconv.FormatFloat(w, 'f', -1, 64))
		if w == 0 {
			line = "# " + strings.TrimSuffix(line, "0") + "1"
		}
		fmt.Fprintf(&b, "%-24s # %s\n", line, Criterion(c).Text())
	}
	return b.String()
}
