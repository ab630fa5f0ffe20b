package theory_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	. "singback/theory"
)

// song is a piece of a collection in one mode, or a stretch of one in one key.
type song struct {
	name   string
	mode   Mode
	chords []counted
}

// counted is a chord as the collections give it, in semitones above the tonic.
// known is false where there is no chord or none with a quality.
type counted struct {
	known      bool
	root, bass int
	quality    Quality
	beats      float64 // bars, or 1 where chords are counted
}

func (c counted) same(d counted) bool {
	c.beats, d.beats = 0, 0
	return c == d
}

// collection reads the half of the collection behind a style that is at hand;
// of hymns, the whole.
func collection(t *testing.T, s Style) []song {
	switch s {
	case Pop:
		return chartSongs(t)
	case Rock:
		return rockSongs(t)
	case Hymn:
		return congregational(t)
	}
	return chorales(t)
}

// byTonic sets the mode of a song by its chords on the tonic.
func (s *song) byTonic() {
	n := 0
	for _, c := range s.chords {
		if c.known && c.root == 0 {
			switch third, has := c.quality.Tone(3); {
			case has && third.Alter == 0:
				n++
			case has:
				n--
			}
		}
	}
	s.mode = Major
	if n < 0 {
		s.mode = Minor
	}
}

func quality(s string) Quality {
	q, err := ParseQuality(s)
	if err != nil {
		panic(err)
	}
	return q
}

// harte holds the symbols of the chart songs by what they begin with.
var harte = []struct {
	prefix  string
	quality Quality
}{
	{"maj7", Major7}, {"maj9", Major7}, {"maj13", Major7}, {"maj", MajorTriad}, {"minmaj", MinorMajor7},
	{"min7", Minor7}, {"min9", Minor7}, {"min11", Minor7}, {"min13", Minor7}, {"min", MinorTriad},
	{"sus4(b7", quality("7sus4")}, {"sus4", quality("sus4")}, {"sus2", quality("sus2")},
	{"hdim7", HalfDiminished7}, {"dim7", Diminished7}, {"dim", DiminishedTriad}, {"aug(b7", quality("7#5")}, {"aug", AugmentedTriad},
	{"7", Dominant7}, {"9", Dominant7}, {"11", Dominant7}, {"13", Dominant7},
}

// song, tonic, metre, section, bar, position_in_bar, chord,
// root_semitones_above_tonic, quality, bass_semitones_above_tonic. A song in two
// keys is two.
func chartSongs(t *testing.T) []song {
	var songs []song
	at := map[string]int{}
	last := 0.0
	for _, row := range referenceFile(t, "billboard-chords", "chords.csv.gz") {
		id := row[0] + " " + row[1]
		i, ok := at[id]
		if !ok {
			i = len(songs)
			at[id] = i
			songs = append(songs, song{name: row[0]})
		}
		bar, _ := strconv.ParseFloat(row[4], 64)
		part, _ := strconv.ParseFloat(row[5], 64)
		cs := songs[i].chords
		if len(cs) > 0 {
			cs[len(cs)-1].beats = bar + part - last
			if cs[len(cs)-1].beats <= 0 {
				cs[len(cs)-1].beats = 1
			}
		}
		last = bar + part
		c := counted{beats: 1}
		if row[7] != "" && row[9] != "" {
			for _, h := range harte {
				if strings.HasPrefix(row[8], h.prefix) {
					c.root, _ = strconv.Atoi(row[7])
					c.bass, _ = strconv.Atoi(row[9])
					c.known, c.quality = true, h.quality
					break
				}
			}
		}
		songs[i].chords = append(cs, c)
	}
	for i := range songs {
		songs[i].byTonic()
	}
	return songs
}

// song, annotator, key, bar, position_in_bar, numeral,
// root_semitones_above_tonic, triad, figures. A 7 is the seventh of the key,
// taken here as a minor one only on V and on minor chords; d is a minor one.
func rockSongs(t *testing.T) []song {
	var songs []song
	at := map[string]int{}
	for _, row := range referenceFile(t, "rock-corpus", "harmony.csv.gz") {
		id := row[0] + " " + row[1]
		i, ok := at[id]
		if !ok {
			i = len(songs)
			at[id] = i
			songs = append(songs, song{name: row[0]})
		}
		c := counted{beats: 1}
		figure, dominant := strings.CutPrefix(row[8], "d")
		numeral := strings.TrimLeft(row[5], "b#")
		dominant = dominant || strings.HasPrefix(numeral, "V") && !strings.HasPrefix(numeral, "VI")
		seventh := strings.HasPrefix(figure, "7") || strings.HasPrefix(figure, "9") || strings.HasPrefix(figure, "11") ||
			figure == "65" || figure == "43" || figure == "42"
		name := map[string][3]string{ // triad, with seventh, with the seventh of V
			"major": {"", "maj7", "7"}, "minor": {"m", "m7", "m7"}, "diminished": {"dim", "dim7", "dim7"},
			"half-diminished": {"m7b5", "m7b5", "m7b5"}, "diminished seventh": {"dim7", "dim7", "dim7"}, "augmented": {"+", "7#5", "7#5"},
		}[row[7]]
		text := name[0]
		switch {
		case strings.Contains(figure, "s") && seventh:
			text = "7sus4"
		case strings.Contains(figure, "s"):
			text = "sus4"
		case seventh && dominant:
			text = name[2]
		case seventh:
			text = name[1]
		}
		if row[6] != "" && name != [3]string{} {
			c.known, c.quality = true, quality(text)
			c.root, _ = strconv.Atoi(row[6])
			inversion := map[string]int{"6": 1, "65": 1, "64": 2, "43": 2, "42": 3}[figure]
			if inversion == 3 && !seventh {
				inversion = 0
			}
			c.bass = (c.root + c.quality.Tones()[inversion].Semitones()) % 12
		}
		songs[i].chords = append(songs[i].chords, c)
	}
	for i := range songs {
		songs[i].byTonic()
	}
	return songs
}

// chorale, measure, beat, key, figure, root, root_semitones_above_tonic, bass,
// bass_semitones_above_tonic, … A stretch in one key is a song.
func chorales(t *testing.T) []song {
	var songs []song
	last := ""
	for _, row := range referenceFile(t, "chorale-harmony", "chords.csv.gz") {
		k := mustKey(t, row[3])
		if id := row[0] + row[3]; id != last {
			songs = append(songs, song{name: row[0], mode: k.Mode})
			last = id
		}
		r, err := ParseRoman(row[4], k)
		if err != nil {
			t.Fatal(err)
		}
		c := counted{known: true, beats: 1, quality: r.Chord.Quality}
		c.root, _ = strconv.Atoi(row[6])
		c.bass, _ = strconv.Atoi(row[8])
		s := &songs[len(songs)-1]
		s.chords = append(s.chords, c)
	}
	return songs
}

// halves splits the songs by name, so that a song and what is left of it in
// another key or by another analyst stay together.
func halves(songs []song) [2][]song {
	var names []string
	for _, s := range songs {
		if !slices.Contains(names, s.name) {
			names = append(names, s.name)
		}
	}
	var out [2][]song
	for _, s := range songs {
		half := slices.Index(names, s.name) % 2
		out[half] = append(out[half], s)
	}
	return out
}

func ofMode(songs []song, m Mode) []song {
	return slices.DeleteFunc(slices.Clone(songs), func(s song) bool { return s.mode != m })
}
