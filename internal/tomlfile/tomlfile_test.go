package tomlfile

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// Documents as TOML 1.0 (toml.io) has them and as it forbids them, many of them its own
// examples (from memory): tables, keys with dots, braces, numbers, dates, texts.
var documents = []string{
	"", "# nothing\n", "a = 1\n", "a = 1\na = 2\n", "a.b = 1\na.c = 2\n", "a.b = 1\na = 2\n", "a = 1\na.b = 2\n", "a.b = 1\na.b.c = 2\n",
	"[a]\nx = 1\n[b]\nx = 2\n", "[a]\n[a]\n", "[a]\n[[a]]\n", "[[a]]\n[a]\n", "[[a]]\nx = 1\n[[a]]\nx = 2\n", "[[a]]\nx = 1\nx = 2\n",
	"[[a]]\n[a.b]\nx = 1\n[[a]]\n[a.b]\nx = 1\n", "[[a]]\n[a.b]\n[a.b]\n", "[a.b]\n[a]\n", "[a.b]\n[a]\nb.c = 1\n", "[a]\nb.c = 1\n[a.b]\n", "[a]\nb.c = 1\n[a.b.d]\nx = 1\n",
	"a = {b = 1, c.d = 2}\n", "a = {b = 1, b = 2}\n", "a = {b = 1}\na.c = 2\n", "a = {b = 1}\n[a]\n", "a = {b = 1}\n[a.c]\n", "a = {b = {c = 1, c = 2}}\n",
	"[[a]]\nb = {c = 1}\n[[a]]\nb = {c = 1}\n", "[[a]]\nb = {c = 1}\nb.d = 2\n", "[[a.b]]\n[a]\nb = 1\n", "\"a.b\" = 1\na.b = 2\n", "\"a\" = 1\na = 2\n",
	"a = 'b'\n", "a = \"b\\u00e9\\t\"\n", "a = \"\"\"\nb\n\"\"\"\n", "a = 'b\n", "a = [1, 2, # three\n 3]\n", "a = ['x', 1]\n", "a = [", "a = \n", "= 1\n", "a b = 1\n", "a = 1 b = 2\n",
	"a = 1_000\n", "a = 1__0\n", "a = 012\n", "a = 0x1F\n", "a = 0o17\n", "a = 0b101\n", "a = +7\n", "a = -0\n", "a = 9223372036854775807\n", "a = 9223372036854775808\n",
	"a = -9223372036854775808\n", "a = 0xFFFFFFFFFFFFFFFF\n", "a = 1.5e3\n", "a = 1.\n", "a = .5\n", "a = inf\n", "a = -nan\n", "a = 1e400\n", "a = 6.626e-34\n", "a = 9_224.5\n",
	"a = true\n", "a = True\n", "a = 2026-11-28\n", "a = 2026-02-29\n", "a = 2024-02-29\n", "a = 1900-02-29\n", "a = 2000-02-29\n", "a = 2026-13-01\n", "a = 2026-1-01\n", "a = 0000-01-01\n",
	"[a", "[[a]", "[]\n", "[a]\nb = 1 # c\n\n\n[c.d]\ne = [['x'], []]\n", "\xff = 1\n", "a = '\xff'\n", "a = \"\\q\"\n", "\x00\n", "a = 1\r\nb = 2\r\n", "a = 1\rb = 2\n",
}

// sorry is what the library refuses and is let pass, since nobody asks for it.
func sorry(data []byte) bool {
	var p unstable.Parser
	p.Reset(data)
	for p.NextExpression() {
		var walk func(n *unstable.Node, array bool) bool
		walk = func(n *unstable.Node, array bool) bool {
			switch n.Kind {
			case unstable.DateTime, unstable.LocalDateTime, unstable.LocalTime:
				return true // whether there is such a time
			case unstable.InlineTable:
				if array {
					return true // keys that come twice in braces within brackets
				}
			}
			for it := n.Children(); it.Next(); {
				if walk(it.Node(), array || n.Kind == unstable.Array) {
					return true
				}
			}
			return false
		}
		if walk(p.Expression(), false) {
			return true
		}
	}
	return false
}

// agree compares a document with what the whole library reads of it.
func agree(t *testing.T, data []byte) {
	t.Helper()
	tables, err := Read(data)
	var want map[string]any
	wantErr := toml.Unmarshal(data, &want)
	var bad *Error
	switch {
	case err != nil && !errors.As(err, &bad):
		t.Fatalf("%q: %v is no *Error", data, err)
	case err != nil && (bad.Line < 1 || bad.Column < 1 || bad.Line > 1+strings.Count(string(data), "\n") || bad.Problem == "" || strings.ContainsAny(err.Error(), "\n\r")):
		t.Fatalf("%q: %#v", data, bad)
	case (err == nil) != (wantErr == nil) && !sorry(data):
		t.Fatalf("%q: %v; the library says %v", data, err, wantErr)
	case err != nil || wantErr != nil:
		return
	}
	for _, table := range tables {
		if table.Array {
			continue
		}
		for _, key := range table.Keys {
			v := table.Values[key]
			got, ok := lookUp(want, strings.TrimPrefix(table.Name+"."+key, "."))
			if !ok {
				continue // below an array, or with a dot in quotes
			}
			compare(t, v, got)
		}
	}
}

func lookUp(in map[string]any, path string) (any, bool) {
	head, rest, ok := strings.Cut(path, ".")
	if !ok {
		v, ok := in[path]
		return v, ok
	}
	below, isTable := in[head].(map[string]any)
	if !isTable {
		return nil, false
	}
	return lookUp(below, rest)
}

func compare(t *testing.T, v Value, want any) {
	t.Helper()
	switch want := want.(type) {
	case int64:
		if got, err := v.Int(); v.Kind != unstable.Integer || err != nil || got != want {
			t.Fatalf("%q is %d, %v; want %d", v.Text, got, err, want)
		}
	case float64:
		if got, err := v.Float(); err != nil || got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Fatalf("%q is %v, %v; want %v", v.Text, got, err, want)
		}
	case string:
		if v.Kind != unstable.String || v.Text != want {
			t.Fatalf("%q, want %q", v.Text, want)
		}
	case bool:
		if v.Kind != unstable.Bool || (v.Text == "true") != want {
			t.Fatalf("%q, want %v", v.Text, want)
		}
	case toml.LocalDate:
		if y, m, d, ok := v.Date(); !ok || (toml.LocalDate{Year: y, Month: m, Day: d}) != want {
			t.Fatalf("%q is %d-%d-%d, want %v", v.Text, y, m, d, want)
		}
	case []any:
		if v.Kind != unstable.Array || len(v.Items) != len(want) {
			t.Fatalf("%d items, want %d", len(v.Items), len(want))
		}
		for i, item := range want {
			compare(t, v.Items[i], item)
		}
	}
}

// Every document reads as the whole library reads it, or is refused as there.
func TestReadAgrees(t *testing.T) {
	read := 0
	for _, s := range documents {
		agree(t, []byte(s))
		if _, err := Read([]byte(s)); err == nil {
			read++
		}
	}
	if read < 30 || len(documents)-read < 30 {
		t.Errorf("%d of %d are read", read, len(documents))
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range documents {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) < 4096 {
			agree(t, data)
		}
	})
}

// Places are counted in characters, and are those of the keys and values.
func TestPlaces(t *testing.T) {
	data := []byte("# Gemischter Chor „Ähren“\nname = 'é'\n[[stage]]\n  keys = [\"C\", 'é', 7]\n  goal.right = 80\n  goal = 1\n")
	_, err := Read(data)
	var bad *Error
	if !errors.As(err, &bad) || *bad != (Error{6, 3, "", "goal is there already"}) {
		t.Errorf("%#v", err)
	}
	tables, err := Read(data[:len(data)-len("  goal = 1\n")])
	if err != nil || len(tables) != 2 || tables[1].Name != "stage" || !tables[1].Array || strings.Join(tables[1].Keys, " ") != "keys goal.right" {
		t.Fatalf("%+v, %v", tables, err)
	}
	keys := tables[1].Values["keys"]
	for _, c := range []struct{ at, line, column int }{
		{tables[0].Values["name"].At, 2, 8}, {tables[1].At, 3, 3}, {tables[1].Names["keys"], 4, 3}, {keys.Items[0].At, 4, 11}, {keys.Items[2].At, 4, 21}, {tables[1].Names["goal.right"], 5, 3},
	} {
		if line, column := Position(data, c.at); line != c.line || column != c.column {
			t.Errorf("offset %d is line %d, column %d; want %d, %d", c.at, line, column, c.line, c.column)
		}
	}
	for _, c := range []struct {
		text         string
		line, column int
		key          string
	}{{"a = 1\nb = 99999999999999999999\n", 2, 5, "b"}, {"a = 1\nb.c = [2026-02-30]\n", 2, 8, "b.c"}, {"x = 'é' y\n", 1, 9, ""}, {"x = 'long", 1, 9, ""}} {
		_, err := Read([]byte(c.text))
		if !errors.As(err, &bad) || bad.Line != c.line || bad.Column != c.column || bad.Key != c.key {
			t.Errorf("%q: %#v", c.text, bad)
		}
	}
}
