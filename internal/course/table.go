package course

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
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
	at = min(at, len(r.data))
	before := r.data[:at]
	line := 1 + strings.Count(string(before), "\n")
	column := 1 + utf8.RuneCount(before[strings.LastIndex(string(before), "\n")+1:])
	return &Error{line, column, word, strings.Join(strings.Fields(fmt.Sprintf(format, args...)), " ")}
}

func (r *reader) bad(v value, format string, args ...any) error {
	word := v.data
	if v.kind == unstable.Array || v.kind == unstable.InlineTable {
		word = ""
	}
	return r.errorAt(v.at, word, format, args...)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// tables walks over the file and finds the tables with their positions.
func (r *reader) tables() (root *table, stages []*table, err error) {
	root = newTable("the file", 0)
	here := root
	var p unstable.Parser
	p.Reset(r.data)
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			var path []string
			at := -1
			for it := e.Key(); it.Next(); {
				path = append(path, string(it.Node().Data))
				if at < 0 {
					at = int(it.Node().Raw.Offset)
				}
			}
			name := strings.Join(path, ".")
			switch {
			case name == "stage" && e.Kind == unstable.ArrayTable:
				if len(stages) == maxStages {
					return nil, nil, r.errorAt(at, name, "more than %d stages", maxStages)
				}
				here = newTable("[[stage]]", at)
				stages = append(stages, here)
			case name == "stage.goal" && e.Kind == unstable.Table && len(stages) > 0:
				here = newTable("[stage.goal]", at)
				stages[len(stages)-1].goal = here
			case name == "stage":
				return nil, nil, r.errorAt(at, name, "a stage begins with [[stage]], in two pairs of brackets")
			default:
				return nil, nil, r.errorAt(at, name, "no such table: want [[stage]] or, in it, [stage.goal]")
			}
		case unstable.KeyValue:
			if err := r.keyValue(here, e); err != nil {
				return nil, nil, err
			}
		}
	}
	if err := p.Error(); err != nil { // unreachable: the library has read it before
		return nil, nil, r.errorAt(0, "", "%s", oneLine(err.Error()))
	}
	return root, stages, nil
}

func newTable(name string, at int) *table {
	return &table{name: name, at: at, values: map[string]value{}, names: map[string]value{}}
}

func (r *reader) keyValue(t *table, e *unstable.Node) error {
	var path []string
	var name value
	for it := e.Key(); it.Next(); {
		if len(path) == 0 {
			name = value{kind: unstable.Key, at: int(it.Node().Raw.Offset)}
		}
		path = append(path, string(it.Node().Data))
	}
	name.data = strings.Join(path, ".")
	if len(path) == 2 && path[0] == "goal" && t.name == "[[stage]]" { // goal.right = 80
		if t.goal == nil {
			t.goal = newTable("goal", name.at)
		}
		t, path = t.goal, path[1:]
		name.data = path[0]
	}
	if len(path) != 1 {
		return r.errorAt(name.at, name.data, "no such key: want a name without dots")
	}
	node := e.Value()
	if node.Kind == unstable.InlineTable && path[0] == "goal" && t.name == "[[stage]]" {
		t.goal = newTable("goal", name.at)
		for it := node.Children(); it.Next(); {
			if it.Node().Kind == unstable.KeyValue {
				if err := r.keyValue(t.goal, it.Node()); err != nil {
					return err
				}
			}
		}
		return nil
	}
	v := r.value(node)
	if v.at == 0 {
		v.at = name.at
	}
	t.keys = append(t.keys, path[0])
	t.values[path[0]], t.names[path[0]] = v, name
	return nil
}

func (r *reader) value(n *unstable.Node) value {
	v := value{kind: n.Kind, data: string(n.Data), at: int(n.Raw.Offset)}
	if n.Raw.Length > 0 {
		v.raw = string(r.data[n.Raw.Offset : n.Raw.Offset+n.Raw.Length])
	}
	if n.Kind == unstable.Array {
		for it := n.Children(); it.Next(); {
			if it.Node().Kind != unstable.Comment {
				v.items = append(v.items, r.value(it.Node()))
			}
		}
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
