package compose

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/exercise"
	"singback/theory"
)

func bassSkills(degrees ...string) []exercise.Skill {
	var out []exercise.Skill
	for _, s := range degrees {
		d, err := exercise.ParseDegree(s)
		if err != nil {
			panic(err)
		}
		out = append(out, exercise.Skill{Kind: exercise.BassSkill, Degree: d})
	}
	return out
}

var everyBass = bassSkills("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")

func everyQuality() []exercise.Skill {
	var out []exercise.Skill
	for _, q := range Qualities() {
		out = append(out, exercise.Skill{Kind: exercise.QualitySkill, Chord: q})
	}
	return out
}

// Whatever is drawn has the skill in it and nothing that is not known, sounds as
// its chords say, within C2 … C6, and is the same for the same order.
func TestDictations(t *testing.T) {
	keys := theory.Keys()
	rapid.Check(t, func(t *rapid.T) {
		pool := everyBass
		if rapid.Bool().Draw(t, "quality") {
			pool = everyQuality()
		}
		known := rapid.SliceOfN(rapid.SampledFrom(pool), 0, 6).Draw(t, "known")
		o := DictationOrder{
			Skill: rapid.SampledFrom(pool).Draw(t, "skill"), Known: append(known, degreeSkill(1)), Key: rapid.SampledFrom(keys).Draw(t, "key"),
			Length: rapid.IntRange(1, MaxDictation).Draw(t, "length"), Seed: rapid.Uint64().Draw(t, "seed"),
		}
		d, err := NewDictation(o)
		if err != nil {
			t.Fatalf("%+v: %v", o, err)
		}
		asked := d.Skills()
		if len(asked) != o.Length || len(d.Chords) != o.Length || len(d.Voices) != o.Length || !slices.Contains(asked, o.Skill) {
			t.Fatalf("asked %v in %d chords", asked, len(d.Chords))
		}
		choices := map[string]bool{}
		for _, s := range append(known, o.Skill) {
			if s.Kind == exercise.BassSkill {
				s.Degree = theory.Degree{Step: 1, Alter: s.Degree.Semitones()} // fi is se
			}
			choices[s.String()] = true
		}
		for i, s := range asked {
			if s != o.Skill && !slices.Contains(known, s) {
				t.Errorf("%v is not known", s)
			}
			if i > 0 && len(choices) > 2 && s == asked[i-1] {
				t.Errorf("%v twice in a row, of %d", s, len(choices))
			}
			c, v := d.Chords[i].Chord, d.Voices[i]
			if s.Kind == exercise.BassSkill && o.Key.Degree(c.Bass).Semitones() != s.Degree.Semitones() {
				t.Errorf("%s does not stand on %v", d.Chords[i], s)
			}
			if s.Kind == exercise.QualitySkill && (c.Bass != c.Root || v[0].Note.PitchClass() != c.Root.PitchClass()) {
				t.Errorf("the root of %s is not in the bass", c)
			}
			sounding, written := uint16(0), uint16(1)<<c.Bass.PitchClass()
			for j, p := range v {
				sounding |= 1 << (p.MIDI() % 12)
				if p.MIDI() < 36 || p.MIDI() > 84 || j > 0 && p.MIDI() < v[j-1].MIDI() {
					t.Errorf("%s is voiced %v", c, v)
				}
			}
			for _, tone := range c.Quality.Tones() {
				written |= 1 << c.Note(tone).PitchClass()
			}
			if sounding&^written != 0 || s.Kind == exercise.QualitySkill && sounding != written {
				t.Errorf("%s sounds as %v", c, v)
			}
			if v[0].MIDI() >= v[1].MIDI() {
				t.Errorf("the bass of %v is not alone below", v)
			}
		}
		again, err := NewDictation(o)
		if err != nil || !reflect.DeepEqual(d, again) {
			t.Errorf("the same order gives another dictation: %v", err)
		}
		names, err := d.Read(report(d), theory.Movable)
		if err != nil || slices.Contains(d.Right(names), false) {
			t.Errorf("%q is read as %v: %v", report(d), names, err)
		}
	})
}

// degreeSkill is a skill of another kind, which is left out.
func degreeSkill(step int) exercise.Skill {
	return exercise.Skill{Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: step}}
}

// report names what sounds.
func report(d Dictation) string {
	var words []string
	for _, s := range d.Skills() {
		if s.Kind == exercise.QualitySkill {
			words = append(words, s.Chord)
		} else {
			words = append(words, theory.Movable.NameASCII(d.Key, s.Degree))
		}
	}
	return strings.Join(words, " ")
}

// The semitones of each quality above its root are those of the handbooks
// (common chord symbols, as in Open Music Theory, "Chord symbols").
func TestQualitiesAreThoseOfTheHandbooks(t *testing.T) {
	table := map[string][]int{
		"maj": {0, 4, 7}, "min": {0, 3, 7}, "dim": {0, 3, 6}, "aug": {0, 4, 8}, "sus4": {0, 5, 7}, "sus2": {0, 2, 7},
		"7": {0, 4, 7, 10}, "maj7": {0, 4, 7, 11}, "m7": {0, 3, 7, 10}, "m7b5": {0, 3, 6, 10}, "dim7": {0, 3, 6, 9},
		"mMaj7": {0, 3, 7, 11}, "6": {0, 4, 7, 9},
	}
	if len(table) != len(Qualities()) {
		t.Errorf("%d qualities, %d in the table", len(Qualities()), len(table))
	}
	for _, key := range theory.Keys() {
		for _, s := range everyQuality() {
			d, err := NewDictation(DictationOrder{Skill: s, Key: key, Length: 1, Seed: uint64(len(s.Chord))})
			if err != nil {
				t.Fatal(err)
			}
			root := d.Voices[0][0].MIDI()
			var got []int
			for _, p := range d.Voices[0] {
				if n := (p.MIDI() - root) % 12; !slices.Contains(got, n) {
					got = append(got, n)
				}
			}
			slices.Sort(got)
			if !slices.Equal(got, table[s.Chord]) {
				t.Errorf("%s in %s: %v above the root, want %v", s.Chord, key, got, table[s.Chord])
			}
		}
	}
}

// Triads and sevenths of the scale stand only where the scale has them: the
// diatonic chords of the handbooks, in minor with the raised seventh.
func TestQualitiesAreAtHome(t *testing.T) {
	for name, want := range map[string]map[string]string{
		"C major": {"maj": "I IV V", "min": "ii iii vi", "dim": "viio", "maj7": "Imaj7 IVmaj7", "m7": "ii7 iii7 vi7"},
		"a minor": {"maj": "III V VI VII", "min": "i iv v", "dim": "iio viio", "maj7": "IIImaj7 VImaj7", "m7": "i7 iv7 v7"},
	} {
		k, err := theory.ParseKey(name)
		if err != nil {
			t.Fatal(err)
		}
		for quality, numerals := range want {
			seen := map[string]bool{}
			for seed := range uint64(60) {
				d, err := NewDictation(DictationOrder{Skill: exercise.Skill{Kind: exercise.QualitySkill, Chord: quality}, Key: k, Length: 1, Seed: seed})
				if err != nil {
					t.Fatal(err)
				}
				seen[d.Material()] = true
			}
			var got []string
			for n := range seen {
				got = append(got, n)
			}
			slices.Sort(got)
			list := strings.Fields(numerals)
			slices.Sort(list)
			if !slices.Equal(got, list) {
				t.Errorf("%s in %s stands as %v, want %v", quality, name, got, list)
			}
		}
	}
}

// What stands on a single bass note is what stands there in songs: the shares of
// McGill Billboard 2.0 (Burgoyne, Wild and Fujinaga 2011), within 6 points.
func TestBassChordsAreThoseOfSongs(t *testing.T) {
	const draws = 1000
	for _, c := range []struct {
		key, bass string
		want      map[string]float64
	}{
		{"C major", "1", map[string]float64{"I": 74, "I7": 13}},
		{"C major", "4", map[string]float64{"IV": 76, "IV7": 9}},
		{"C major", "6", map[string]float64{"vi": 57, "vi7": 19, "VI": 9}},
		{"a minor", "b7", map[string]float64{"VII": 72}},
		{"a minor", "4", map[string]float64{"IV": 30, "iv": 24, "iv7": 23, "IV7": 14}},
	} {
		k, err := theory.ParseKey(c.key)
		if err != nil {
			t.Fatal(err)
		}
		times := map[theory.Chord]int{}
		for seed := range uint64(draws) {
			d, err := NewDictation(DictationOrder{Skill: bassSkills(c.bass)[0], Key: k, Length: 1, Seed: seed})
			if err != nil {
				t.Fatal(err)
			}
			times[d.Chords[0].Chord]++
		}
		for numeral, share := range c.want {
			r, err := theory.ParseRoman(numeral, k)
			if err != nil {
				t.Fatal(err)
			}
			if got := 100 * float64(times[r.Chord]) / draws; got < share-6 || got > share+6 {
				t.Errorf("%s on %s in %s: %.1f %%, counted %g %%", numeral, c.bass, c.key, got, share)
			}
		}
	}
}

func TestNamesAreRead(t *testing.T) {
	k, _ := theory.ParseKey("F major")
	bass := Dictation{Of: exercise.BassSkill, Key: k, Chords: make([]theory.Roman, 3)}
	for _, c := range []struct {
		text string
		n    theory.Naming
		want []exercise.Skill
	}{
		{"do fa sol", theory.Movable, bassSkills("1", "4", "5")},
		{" 1,4, 5 ", theory.Movable, bassSkills("1", "4", "5")},
		{"F Bb C", theory.Letters, bassSkills("1", "4", "5")},
		{"do fa b7", theory.Letters, bassSkills("1", "4", "b7")},
	} {
		got, err := bass.Read(c.text, c.n)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%q: %v, %v; want %v", c.text, got, err, c.want)
		}
	}
	one := Dictation{Of: exercise.QualitySkill, Key: k, Chords: make([]theory.Roman, 1)}
	for text, want := range map[string]string{
		"maj": "maj", "Major": "maj", "M": "maj", "m": "min", "minor": "min", "min7": "m7", "-7": "m7", "M7": "maj7", "dominant": "7",
		"ø7": "m7b5", "m7b5": "m7b5", "°7": "dim7", "o7": "dim7", "+": "aug", "augmented": "aug", "m(maj7)": "mMaj7", "mMaj7": "mMaj7", "sus": "sus4", "6": "6",
	} {
		got, err := one.Read(text, theory.Movable)
		if err != nil || len(got) != 1 || got[0].Chord != want {
			t.Errorf("%q: %v, %v; want %s", text, got, err, want)
		}
	}
	for text, want := range map[string]string{"do fa": "2 given: want 3 names", "do fa sol la": "4 given: want 3 names", "do xx sol": "xx"} {
		if _, err := bass.Read(text, theory.Movable); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	for text, want := range map[string]string{"": "0 given: want 1 name", "9": "want one of maj, min", "xyz": "want one of maj, min"} {
		if _, err := one.Read(text, theory.Movable); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// Degrees that sound the same are the same; what is missing is wrong.
func TestRightIsBySound(t *testing.T) {
	k, _ := theory.ParseKey("C major")
	d, err := NewDictation(DictationOrder{Skill: bassSkills("#4")[0], Key: k, Length: 2, Known: bassSkills("5"), Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	names := d.Skills()
	for i := range names {
		if names[i].Degree == (theory.Degree{Step: 4, Alter: 1}) {
			names[i].Degree = theory.Degree{Step: 5, Alter: -1}
		}
	}
	if got := d.Right(names); !slices.Equal(got, []bool{true, true}) {
		t.Errorf("se for fi: %v", got)
	}
	names[1].Degree.Step = 2
	if got := d.Right(names); !slices.Equal(got, []bool{true, false}) {
		t.Errorf("re: %v", got)
	}
	if got := d.Right(nil); !slices.Equal(got, []bool{false, false}) {
		t.Errorf("no name: %v", got)
	}
}

func TestDictationRefuses(t *testing.T) {
	dorian, err := theory.ParseModalKey("D dorian")
	if err != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]DictationOrder{
		"a church mode": {Skill: everyBass[0], Key: dorian, Length: 1},
		"no chord":      {Skill: everyBass[0]},
		"nine chords":   {Skill: everyBass[0], Length: 9},
		"a degree":      {Skill: degreeSkill(1), Length: 1},
		"no quality":    {Skill: exercise.Skill{Kind: exercise.QualitySkill, Chord: "13"}, Length: 1},
	} {
		if _, err := NewDictation(o); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// No text is a panic, and what is read has a name for each chord.
func FuzzDictationRead(f *testing.F) {
	for _, s := range []string{"do fa", "1 b7", "maj m7b5", "C# Db", "ø7 °7", ", ,", "fi se", "sus sus2"} {
		f.Add(s, true)
		f.Add(s, false)
	}
	k, _ := theory.ParseKey("Ab major")
	f.Fuzz(func(t *testing.T, text string, quality bool) {
		d := Dictation{Of: exercise.BassSkill, Key: k, Chords: make([]theory.Roman, 2)}
		if quality {
			d.Of = exercise.QualitySkill
		}
		for _, n := range []theory.Naming{theory.Movable, theory.Letters, theory.Curwen} {
			names, err := d.Read(text, n)
			if err == nil && len(names) != 2 || err != nil && (strings.Contains(err.Error(), "\n") || len(err.Error()) > 300) {
				t.Fatalf("%q: %v, %v", text, names, err)
			}
		}
	})
}
