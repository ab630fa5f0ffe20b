package theory_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	. "singback/theory"
)

// chartSections are the sections of the chart songs of McGill Billboard 2.0, each chord
// unlike the one before; what ParseChord does not read, and what is no chord, parts one
// progression from the next.
func chartSections(t *testing.T) (list [][]Roman, unread map[string]int) {
	unread = map[string]int{}
	var p []Roman
	last := ""
	end := func() {
		if len(p) > 1 {
			list = append(list, p)
		}
		p = nil
	}
	for _, row := range referenceFile(t, "billboard-chords", "chords.csv.gz") {
		if id := row[0] + row[1] + row[3]; id != last || row[7] == "" {
			end()
			last = id
		}
		if row[7] == "" {
			continue
		}
		k, respell := chartKey(t, row[1])
		root, rest, _ := strings.Cut(row[6], ":")
		_, bass, over := strings.Cut(rest, "/")
		c, err := ParseChord(root + strings.ReplaceAll(row[8], ";", ","))
		if err != nil {
			unread[row[8]]++
			end()
			continue
		}
		if over {
			step := strings.TrimLeft(bass, "b#")
			n, err := strconv.Atoi(step)
			if err != nil {
				t.Fatal(row)
			}
			c = c.Over(c.Note(Degree{(n-1)%7 + 1, strings.Count(bass, "#") - strings.Count(bass, "b")}))
		}
		if respell {
			c = c.Up(Interval{Steps: 1})
		}
		if r := k.Roman(c); len(p) == 0 || p[len(p)-1].Chord != c {
			p = append(p, r)
		}
	}
	end()
	return list, unread
}

// chartKey is the major key of a tonic, and whether it is spelled a letter higher: there
// is no G sharp major.
func chartKey(t *testing.T, tonic string) (k Key, higher bool) {
	if k, err := ParseKey(tonic); err == nil {
		return k, false
	}
	n, err := ParseNote(tonic)
	if err != nil {
		t.Fatal(err)
	}
	return mustKey(t, n.Up(Interval{Steps: 1}).ASCII()), true
}

// No progression of the songs at hand is refused without --strict, in either texture;
// the licences that are told are those that there are.
func TestChartSongsAreSet(t *testing.T) {
	list, unread := chartSections(t)
	alone := 0 // one note, no chord
	for quality, n := range unread {
		if !strings.HasPrefix(quality, "1") && quality != "maj6(7)" && quality != "maj7(b7)" {
			t.Errorf("%s is not read, %d times", quality, n)
		}
		alone += n
	}
	seen := map[string]bool{}
	chords, free := 0, 0
	for _, p := range list {
		text := p[0].Key.ASCII() + " " + written(p)
		if seen[text] {
			continue
		}
		seen[text] = true
		chords += len(p)
		for name, texture := range textures() {
			v, _, licences, err := texture.VoiceFreely(p)
			if err != nil {
				t.Errorf("%s for %s: %v", text, name, err)
				continue
			}
			if len(licences) > 0 {
				free++
			}
			if got, want := told(licences), licencesIn(p, v); !slices.Equal(got, want) {
				t.Errorf("%s for %s: the licences are %v, there are %v", text, name, got, want)
			}
		}
	}
	t.Logf("%d different progressions, %d chords, %d unread; %d of the settings have licences", len(seen), chords, alone, free)
	if len(seen) < 2400 || chords < 20000 || free < 100 {
		t.Errorf("%d progressions, %d chords, %d with licences: is the collection read?", len(seen), chords, free)
	}
}
