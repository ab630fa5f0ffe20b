package course

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"singback/internal/tomlfile"
)

// value is a value of the file, or a key without one.
type value struct {
	kind  unstable.Kind
	data  string // decoded
	at    int    // offset of its first byte
	raw   string
	items []value // of an array
}

// table is a table of the file.
type table struct {
	name   string // "stage" …, for messages
	at     int
	keys   []string
	values map[string]value
	names  map[string]value // where the keys stand
	goal   *table
}

type reader struct {
	data   []byte
	skills int
}

func (r *reader) errorAt(at int, word, format string, args ...any) error {
	line, column := tomlfile.Position(r.data, at)
	return &Error{line, column, word, oneLine(fmt.Sprintf(format, args...))}
}

func (r *reader) bad(v value, format string, args ...any) error {
	word := v.data
	if v.kind == unstable.Array || v.kind == unstable.InlineTable {
		word = ""
	}
	return r.errorAt(v.at, word, format, args...)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// tables sorts the tables of the file.
func (r *reader) tables(read []*tomlfile.Table) (root *table, stages []*table, err error) {
	for _, t := range read {
		here := newTable("the file", t.At)
		switch {
		case t.Name == "":
			root = here
		case t.Name == "stage" && t.Array:
			if len(stages) == maxStages {
				return nil, nil, r.errorAt(t.At, t.Name, "more than %d stages", maxStages)
			}
			here.name = "[[stage]]"
			stages = append(stages, here)
		case t.Name == "stage.goal" && !t.Array && len(stages) > 0:
			here.name = "[stage.goal]"
			stages[len(stages)-1].goal = here
		case t.Name == "stage":
			return nil, nil, r.errorAt(t.At, t.Name, "a stage begins with [[stage]], in two pairs of brackets")
		default:
			return nil, nil, r.errorAt(t.At, t.Name, "no such table: want [[stage]] or, in it, [stage.goal]")
		}
		for _, key := range t.Keys {
			if err := r.keyValue(here, key, t); err != nil {
				return nil, nil, err
			}
		}
	}
	return root, stages, nil
}

func newTable(name string, at int) *table {
	return &table{name: name, at: at, values: map[string]value{}, names: map[string]value{}}
}

// keyValue puts a key into its table: goal.right, or right of a goal in braces, into
// that of the goal.
func (r *reader) keyValue(t *table, key string, read *tomlfile.Table) error {
	at, v := read.Names[key], valueOf(read.Values[key])
	if t.name == "[[stage]]" && (key == "goal" && v.kind == unstable.InlineTable || strings.HasPrefix(key, "goal.")) {
		if t.goal == nil {
			t.goal = newTable("goal", at)
		}
		if key == "goal" {
			return nil
		}
		t, key = t.goal, strings.TrimPrefix(key, "goal.")
	}
	if strings.Contains(key, ".") {
		return r.errorAt(at, key, "no such key: want a name without dots")
	}
	t.keys = append(t.keys, key)
	t.values[key], t.names[key] = v, value{kind: unstable.Key, data: key, at: at}
	return nil
}

func valueOf(read tomlfile.Value) value {
	v := value{kind: read.Kind, data: read.Text, at: read.At, raw: read.Raw}
	for _, item := range read.Items {
		v.items = append(v.items, valueOf(item))
	}
	return v
}

// only reports a key that the table does not have.
func (r *reader) only(t *table, allowed ...string) error {
	for _, k := range t.keys {
		if !slices.Contains(allowed, k) {
			return r.bad(t.names[k], "no such key in %s: want %s", t.name, strings.Join(allowed, ", "))
		}
	}
	return nil
}

// text reads a string; "" where it is missing.
func (r *reader) text(t *table, key string) (value, error) {
	v, ok := t.values[key]
	if ok && v.kind != unstable.String {
		return v, r.bad(v, "%s wants a text in quotes", key)
	}
	return v, nil
}

// number reads a number from low to high; or where it is missing.
func (r *reader) number(t *table, key string, or, low, high float64, whole bool) (float64, error) {
	v, ok := t.values[key]
	if !ok {
		return or, nil
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(v.data, "_", ""), 64)
	if v.kind != unstable.Integer && v.kind != unstable.Float || err != nil || whole && x != math.Trunc(x) {
		kind := "number"
		if whole {
			kind = "whole number"
		}
		return 0, r.bad(v, "%s wants a %s", key, kind)
	}
	if !(x >= low && x <= high) {
		return 0, r.bad(v, "%s is out of range: want %g to %g", key, low, high)
	}
	return x, nil
}

// word is a word of a text, with its place in the file.
type word struct {
	text string
	at   int
}

// words splits the text of a string at blanks and commas. Where the string has
// escapes, the place is that of the whole.
func (v value) words() []word {
	plain := strings.Index(v.raw, v.data)
	var out []word
	for at := 0; at < len(v.data); {
		if strings.ContainsRune(" ,\t\r\n", rune(v.data[at])) {
			at++
			continue
		}
		end := len(v.data)
		if n := strings.IndexAny(v.data[at:], " ,\t\r\n"); n >= 0 {
			end = at + n
		}
		w := word{v.data[at:end], v.at}
		if plain >= 0 {
			w.at = v.at + plain + at
		}
		out = append(out, w)
		at = end
	}
	return out
}
