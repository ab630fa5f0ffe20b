package compose_test

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"

	. "singback/exercise/compose"
	"singback/internal/testkit"
	"singback/theory"
)

// grid is how fine times are compared here, parts of a quarter note.
const grid = 24

// sung is a note of a line: when it begins, how long it is, and its MIDI number.
type sung struct{ at, length, midi int }

// figures are what a number of lines have of form.
type figures struct {
	lines, returns, again, sequence, climax, half float64
	moves, repeated                               float64
}

// barsOf cuts a line into its bars, the first of which begins at from: the pickup is left out.
func barsOf(line []sung, from, bar int) [][]sung {
	var bars [][]sung
	for _, n := range line {
		if n.at < from {
			continue
		}
		b := (n.at - from) / bar
		for len(bars) <= b {
			bars = append(bars, nil)
		}
		n.at -= from + b*bar
		bars[b] = append(bars[b], n)
	}
	return bars
}

// beginsLike reports whether two bars have the same notes up to some point.
func beginsLike(a, b []sung, until int) bool {
	cut := func(ns []sung) []sung {
		i := slices.IndexFunc(ns, func(n sung) bool { return n.at >= until })
		if i < 0 {
			return ns
		}
		return ns[:i]
	}
	a, b = cut(a), cut(b)
	return len(a) > 0 && slices.Equal(a, b)
}

// alike reports whether a bar of two or more notes has the rhythm and the direction of
// every move of another, at another height.
func alike(a, b []sung) bool {
	if len(a) != len(b) || len(a) < 3 || a[0].midi == b[0].midi {
		return false
	}
	for i := range a {
		if a[i].at != b[i].at || a[i].length != b[i].length {
			return false
		}
		if i > 0 {
			x, y := a[i].midi-a[i-1].midi, b[i].midi-b[i-1].midi
			if x*y < 0 || (x == 0) != (y == 0) || max(x-y, y-x) > 1 {
				return false
			}
		}
	}
	return true
}

// count counts a line of which the first whole bar begins at from, and the second half
// with the bar half. tonic is its pitch class.
func (f *figures) count(line []sung, from, bar, half, tonic int) {
	f.lines++
	bars := barsOf(line, from, bar)
	returns, sequence := 0.0, 0.0
	for i, b := range bars {
		for _, earlier := range bars[:i] {
			if len(b) > 1 && slices.Equal(b, earlier) {
				returns = 1
			}
		}
		if i > 0 && alike(b, bars[i-1]) || i > 1 && alike(b, bars[i-2]) {
			sequence = 1
		}
	}
	f.returns += returns
	f.sequence += sequence
	if len(bars) > half && beginsLike(bars[0], bars[half], bar/2) {
		f.again++
	}
	if last := bars[half-1:]; len(last) > 1 && len(last[0]) > 0 {
		switch (last[0][len(last[0])-1].midi - tonic + 120) % 12 {
		case 2, 7, 11:
			f.half++
		}
	}
	top, peaks := 0, 0
	for i, n := range line {
		if n.midi > top {
			top, peaks = n.midi, 0
		}
		if n.midi == top && (i == 0 || line[i-1].midi != top) {
			peaks++
		}
		if i > 0 {
			f.moves++
			if n.midi == line[i-1].midi {
				f.repeated++
			}
		}
	}
	if peaks == 1 {
		f.climax++
	}
}

func (f figures) String() string {
	p := func(x float64) string { return fmt.Sprintf("%3.0f %%", 100*x/f.lines) }
	return fmt.Sprintf("%4.0f lines: a bar returns %s, second half begins like the first %s, sequence %s, half cadence %s, one climax %s, repeated notes %4.1f %%",
		f.lines, p(f.returns), p(f.again), p(f.sequence), p(f.half), p(f.climax), 100*f.repeated/f.moves)
}

// generated returns a melody as it is counted here.
func generated(s theory.Score) (line []sung, from, bar int) {
	units := func(x theory.Fraction) int {
		if x.Num == 0 {
			return 0
		}
		return int(math.Round(frac(x) * grid))
	}
	at := 0
	for _, w := range s.Notes {
		if !w.Rest {
			line = append(line, sung{at, units(w.Length), w.Pitch.MIDI()})
		}
		at += units(w.Length)
	}
	return line, units(s.Start), units(s.Meter.Bar())
}

// unlike reports whether a line in minor has raised beside lowered 6 or 7, with at most
// one note between.
func unlike(v sight) bool {
	for i, n := range v.notes {
		for _, p := range v.notes[max(0, i-2):i] {
			if n.degree.Step >= 6 && p.degree.Step >= 6 && p.altered != n.altered {
				return true
			}
		}
	}
	return false
}

// The form of melodies of each level, beside that of the first eight bars of 97 hymns: a
// bar returns in 60 %, the second half begins like the first in 40 %, 18 % of notes are
// repeated (see TestFormOfReferences, by the same count). Lines of four bars have less
// room for it. A half cadence and one climax are what nearly all have here, which hymns
// have in about half: a line to be read says clearly where it is.
func TestForm(t *testing.T) {
	for level := 1; level <= Levels; level++ {
		ms, err := NewMelodies(MelodyOrder{Level: level, Count: 300, Seed: 11})
		if err != nil {
			t.Fatal(err)
		}
		var f figures
		beside, tritones, asked := 0, 0, 0
		for _, m := range ms {
			if m.Skill == "a change of meter" {
				continue // its bars are not all of one length
			}
			line, from, bar := generated(m.Score)
			half := 2
			if level >= 5 {
				half = 4
			}
			f.count(line, from, bar, half, m.Score.Key.Tonic.PitchClass())
			v := look(m.Score)
			if m.Score.Key.Mode == theory.Minor && len(m.Score.Changes) == 0 && unlike(v) {
				beside++
			}
			if m.Skill == "tritones and sevenths" {
				asked++
				for i, n := range v.notes {
					if i > 0 && max(n.midi-v.notes[i-1].midi, v.notes[i-1].midi-n.midi) == 6 {
						tritones++
						break
					}
				}
			}
		}
		t.Logf("level %d: %v; raised beside lowered %d, a tritone in %d of %d", level, f, beside, tritones, asked)
		for _, c := range []struct {
			what           string
			got, low, high float64
		}{
			{"a bar returns", f.returns / f.lines, 0.2, 0.75},
			{"the second half begins like the first", f.again / f.lines, 0.25, 0.55},
			{"half cadence", f.half / f.lines, 0.75, 1},
			{"one climax", f.climax / f.lines, 0.95, 1},
			{"repeated notes", f.repeated / f.moves, 0.1, 0.28},
		} {
			if c.got < c.low || c.got > c.high {
				t.Errorf("level %d: %s: %.2f, want %.2f to %.2f", level, c.what, c.got, c.low, c.high)
			}
		}
		if beside > 0 {
			t.Errorf("level %d: raised beside lowered 6 or 7 in %d lines", level, beside)
		}
		if level == Levels && tritones*3 < asked {
			t.Errorf("a tritone in %d of %d lines that are to have one or a seventh", tritones, asked)
		}
	}
}

// The same count in the sopranos of the hymns (their first eight bars, and all) and in
// the exercises of a solfège book of 1891 (both from the reference data, their README.md
// has the sources). What TestForm says of hymns is what is counted here.
func TestFormOfReferences(t *testing.T) {
	_, rows := testkit.Reference(t, "hymns", "notes.csv.gz")
	lines := map[string][]sung{}
	for _, row := range rows {
		if row[1] != "S" {
			continue
		}
		at, err1 := strconv.ParseFloat(row[2], 64)
		beats, err2 := strconv.ParseFloat(row[3], 64)
		midi, err3 := strconv.Atoi(row[4])
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(row)
		}
		units := func(x float64) int { return 2 * int(math.Round(x*grid/2)) }
		lines[row[0]] = append(lines[row[0]], sung{units(at), units(at+beats) - units(at), midi})
	}
	var all, first figures
	_, rows = testkit.Reference(t, "hymns", "hymns.csv")
	for _, row := range rows {
		meter, err := theory.ParseMeter(row[5])
		tonic, err2 := strconv.Atoi(row[4])
		if err != nil || err2 != nil || !meter.Valid() {
			continue
		}
		line := lines[row[0]]
		slices.SortStableFunc(line, func(a, b sung) int { return a.at - b.at })
		bar := int(math.Round(frac(meter.Bar()) * grid))
		// Where bars begin is not in the table: where most of what is held begins.
		from, most := 0, -1
		for p := 0; p < bar; p += grid / 2 {
			held := 0
			for _, n := range line {
				if (n.at-p)%bar == 0 {
					held += n.length
				}
			}
			if held > most {
				most, from = held, p
			}
		}
		all.count(line, from, bar, 4, tonic)
		end := slices.IndexFunc(line, func(n sung) bool { return n.at >= from+8*bar })
		if end < 0 {
			end = len(line)
		}
		first.count(line[:end], from, bar, 4, tonic)
	}
	t.Logf("hymns: %v", all)
	t.Logf("eight bars of them: %v", first)
	for what, c := range map[string][2]float64{
		"a bar returns":                         {first.returns / first.lines, 0.60},
		"the second half begins like the first": {first.again / first.lines, 0.40},
		"repeated notes":                        {first.repeated / first.moves, 0.18},
	} {
		if math.Abs(c[0]-c[1]) > 0.01 || first.lines != 97 {
			t.Errorf("eight bars of %g hymns: %s: %.3f, want 97 and %.2f", first.lines, what, c[0], c[1])
		}
	}

	var book figures
	exercises := map[string][]sung{}
	_, rows = testkit.Reference(t, "solfege-exercises", "exercises.csv")
	for _, row := range rows {
		at, _ := strconv.ParseFloat(row[2], 64)
		beats, _ := strconv.ParseFloat(row[3], 64)
		midi, err := strconv.Atoi(row[4])
		if err != nil {
			t.Fatal(err)
		}
		exercises[row[0]] = append(exercises[row[0]], sung{int(math.Round(at * grid)), int(math.Round(beats * grid)), midi})
	}
	for _, line := range exercises {
		book.count(line, 0, 4*grid, 4, 0)
	}
	t.Logf("exercises: %v", book)
}

func BenchmarkMelodies(b *testing.B) {
	for level := 1; level <= Levels; level++ {
		b.Run(fmt.Sprint(level), func(b *testing.B) {
			for i := range b.N {
				if _, err := NewMelodies(MelodyOrder{Level: level, Count: 1, Seed: uint64(i)}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
