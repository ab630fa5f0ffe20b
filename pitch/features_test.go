package pitch

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/training"
)

// namesOf are the keys of a table of features as they are written, and the constants that
// begin with prefix, both in their order.
func namesOf(t *testing.T, table, prefix string) (rows, constants []string) {
	t.Helper()
	var decls []ast.Decl
	for _, name := range []string{"features.go", "place.go"} {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		decls = append(decls, file.Decls...)
	}
	for _, d := range decls {
		decl, ok := d.(*ast.GenDecl)
		if !ok {
			continue
		}
		for _, s := range decl.Specs {
			spec, ok := s.(*ast.ValueSpec)
			switch {
			case !ok:
			case decl.Tok == token.CONST:
				if name := spec.Names[0].Name; strings.HasPrefix(name, prefix) {
					constants = append(constants, name)
				}
			case spec.Names[0].Name == table:
				for _, row := range spec.Values[0].(*ast.CompositeLit).Elts {
					rows = append(rows, row.(*ast.KeyValueExpr).Key.(*ast.Ident).Name)
				}
			}
		}
	}
	return rows, constants
}

// tables are the four tables of features, and what a feature's name begins with.
var tables = []struct {
	name, prefix string
	rows         []feature
}{
	{"candFeatures", "of", candFeatures[:]},
	{"frameFeatures", "in", frameFeatures[:]},
	{"onsetFeatures", "at", onsetFeatures[:]},
	{"placeFeatures", "here", placeFeatures[:]},
}

// Every feature has a row that says what it is, in a unit, in the order of the
// weights; what it is made of is worked out before it; and its name has the knot of
// its hinge.
func TestFeatureTables(t *testing.T) {
	units := strings.Split("1|1/4|0.1 s|octave|octave²|decade|decade²|semitone|10 dB|20 dB|(10 dB)²", "|")
	number := regexp.MustCompile(`Over(\d+)$`)
	for _, table := range tables {
		names, constants := namesOf(t, table.name, table.prefix)
		if len(names) != len(table.rows) || !slices.Equal(names, constants) {
			t.Fatalf("%s has the %d rows %q, want %d: %q", table.name, len(names), names, len(table.rows), constants)
		}
		hinges := false
		for i, f := range table.rows {
			name := names[i]
			if f.says == "" || !slices.Contains(units, f.unit) {
				t.Errorf("%s says %q in %q, want words and one of the units %q", name, f.says, f.unit, units)
			}
			switch f.made.how {
			case multiplied:
				for _, part := range []int{f.made.a, f.made.b} {
					if how := table.rows[part].made.how; how != straight {
						t.Errorf("%s is made of %s, which is made of others", name, names[part])
					}
				}
			case hinged:
				hinges = true
				if how := table.rows[f.made.a].made.how; how != straight {
					t.Errorf("%s is made of %s, which is made of others", name, names[f.made.a])
				}
				m := number.FindStringSubmatch(name)
				if m == nil {
					t.Errorf("%s: a hinge without its knot in its name", name)
					continue
				}
				n, _ := strconv.ParseFloat(m[1], 64)
				want := n
				switch {
				case f.unit == "10 dB":
					want = n / 10
				case n >= 3:
					want = n / 100
				}
				if f.made.knot != want {
					t.Errorf("%s: the knot is %g, its name says %g", name, f.made.knot, want)
				}
			}
		}
		if !hinges {
			t.Errorf("%s has no hinge: the test sees nothing", table.name)
		}
	}
}

// claim is a range that a row's words promise: "−1 to 1" at the end or before a comma,
// and "at most 4".
var (
	between2 = regexp.MustCompile(`(−?[\d.]+) to (−?[\d.]+)$`)
	atMost   = regexp.MustCompile(`at most ([\d.]+)( dB)?$`)
)

func claimed(f feature) (low, high float64, ok bool) {
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.Replace(s, "−", "-", 1), 64)
		if err != nil {
			panic(err)
		}
		return v
	}
	if m := between2.FindStringSubmatch(f.says); m != nil {
		return number(m[1]), number(m[2]), true
	}
	if m := atMost.FindStringSubmatch(f.says); m != nil {
		high = number(m[1])
		if m[2] != "" {
			high /= 10
		}
		return math.Inf(-1), high, true
	}
	return 0, 0, false
}

// What the words of a row promise holds for every frame of every kind of sound that
// the weights are fitted on: ranges, products and hinges; and every feature moves.
func TestFeaturesKeepTheirWords(t *testing.T) {
	type seen struct{ low, high float64 }
	spans := make([][]seen, len(tables))
	for i, table := range tables {
		spans[i] = make([]seen, len(table.rows))
		for j := range spans[i] {
			spans[i][j] = seen{math.Inf(1), math.Inf(-1)}
		}
	}
	look := func(which int, x []float64, where string) {
		for j, v := range x {
			s := &spans[which][j]
			s.low, s.high = math.Min(s.low, v), math.Max(s.high, v)
			f := tables[which].rows[j]
			want := v
			switch f.made.how {
			case multiplied:
				want = x[f.made.a] * x[f.made.b]
			case hinged:
				want = math.Max(0, x[f.made.a]-f.made.knot)
			}
			if v != want || math.IsInf(v, 0) {
				t.Fatalf("%s: %s %d (%s) is %g, want %g", where, tables[which].name, j, f.says, v, want)
			}
			// Rounding may carry a share a little over the whole.
			if low, high, ok := claimed(f); ok && (v < low-1e-9 || v > high+1e-9) {
				t.Fatalf("%s: %s %d (%s) is %g", where, tables[which].name, j, f.says, v)
			}
		}
	}
	listen := func(name string, rate int, x, known []float64) {
		cfg := DefaultConfig(rate)
		cfg.Known = known
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		tr.hook = func(k int64, fr *frame, e *evidence) {
			where := fmt.Sprintf("%s, frame %d", name, k)
			for i := range fr.c[:fr.n] {
				look(0, e.feat[i][:], where)
			}
			look(1, e.ffeat[:], where)
		}
		o := NewOnsetFinder(cfg)
		for _, p := range tr.Flush(tr.Push(nil, x)) {
			o.push(nil, &p)
			if k := o.n - 1 - onsetAfter; k >= 2 && o.isPeak(k) {
				look(2, o.x[:], fmt.Sprintf("%s, onset at frame %d", name, k))
			}
			if k := o.n - placeSoon; k >= 2 && o.isPeak(k) {
				for j := range numPlaces {
					o.describePlace(k, j, &o.here)
					look(3, o.here[:], fmt.Sprintf("%s, place %d of the peak at frame %d", name, j, k))
				}
			}
		}
	}
	for i, condition := range training.Conditions {
		c := training.Make(condition, uint64(400+i), 16000, 2.5)
		listen(condition, c.Rate, c.X, c.Known)
	}
	listen("silence", 8000, testkit.Silence(8000), nil)
	for i, table := range tables {
		for j, f := range table.rows {
			if s := spans[i][j]; s.low == s.high && f.says != "1" {
				t.Errorf("%s %d (%s) is %g whatever is heard", table.name, j, f.says, s.low)
			}
		}
	}
}
