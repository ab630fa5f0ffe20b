package theory_test

import (
	"errors"
	"math"
	"strconv"
	"testing"

	. "singback/theory"
)

// hymnChords reads the chords of a hymn at the beats where all four voices
// begin a note, as they are sung: triads and sevenths of the key, spelled by its
// chromatic scale. A nil chord stands for what is none, or for a beat between
// that not all voices begin.
func hymnChords(k Key, voices map[string]map[float64]int, beats []float64) (chords []*Roman, sung [][4]int) {
	names := k.ChromaticDegrees()
	tonic := k.Tonic.PitchClass()
	for _, at := range beats {
		var midi [4]int
		all := true
		for i, v := range []string{"B", "T", "A", "S"} {
			m, ok := voices[v][at]
			midi[i], all = m, all && ok
		}
		var chord *Roman
		if all {
			var notes [4]Note
			for i, m := range midi {
				notes[i] = k.Note(names[((m-tonic)%12+12)%12])
			}
			if found, err := RecogniseChord(notes[0], notes[1:]...); err == nil {
				for _, q := range []Quality{MajorTriad, MinorTriad, DiminishedTriad, Dominant7, Major7, Minor7, HalfDiminished7, Diminished7} {
					if found[0].Quality == q {
						r := k.Roman(found[0])
						chord = &r
					}
				}
			}
		}
		chords, sung = append(chords, chord), append(sung, midi)
	}
	return chords, sung
}

// The search moves its upper voices less than the settings of 96 public domain
// hymns in major and minor do, which have a melody to follow, but not by far:
// semitones from chord to chord, over the chord changes in which all voices
// begin together. And it sets what hymns do.
func TestVoiceAgainstHymns(t *testing.T) {
	voices := map[string]map[string]map[float64]int{}
	beats := map[string][]float64{}
	for _, row := range referenceFile(t, "hymns", "notes.csv.gz") { // hymn, voice, onset_beats, beats, midi
		at, err := strconv.ParseFloat(row[2], 64)
		midi, err2 := strconv.Atoi(row[4])
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if voices[row[0]] == nil {
			voices[row[0]] = map[string]map[float64]int{"S": {}, "A": {}, "T": {}, "B": {}}
		}
		if row[1] == "S" {
			beats[row[0]] = append(beats[row[0]], at)
		}
		voices[row[0]][row[1]][at] = midi
	}
	texture := ChoirTexture()
	var ours, theirs [4]float64
	hymns, changes, refused := 0, 0, 0
	for _, row := range referenceFile(t, "hymns", "hymns.csv") { // hymn, title, signature_as_major_key, mode, tonic_pc
		tonic, err := strconv.Atoi(row[4])
		if err != nil || row[3] != "major" && row[3] != "minor" {
			continue
		}
		hymns++
		mode := Major
		if row[3] == "minor" {
			mode = Minor
		}
		chords, sung := hymnChords(TwelveKeys(mode)[tonic], voices[row[0]], beats[row[0]])
		for begin := 0; begin < len(chords); {
			// A run of chords, each unlike the one before.
			end := begin
			var p []Roman
			for end < len(chords) && chords[end] != nil && (end == begin || chords[end].Chord != chords[end-1].Chord) {
				p = append(p, *chords[end])
				end++
			}
			set, next := p, max(end, begin+1)
			for len(set) > 1 {
				v, _, err := texture.Voice(set)
				if errors.Is(err, ErrVoicing) {
					set = set[:len(set)-1]
					continue
				} else if err != nil {
					t.Fatal(err)
				}
				for i := 1; i < len(v); i++ {
					changes++
					for part := range v[i] {
						ours[part] += math.Abs(float64(v[i][part].MIDI() - v[i-1][part].MIDI()))
						theirs[part] += math.Abs(float64(sung[begin+i][part] - sung[begin+i-1][part]))
					}
				}
				break
			}
			if len(set) < len(p) {
				refused++
				next = begin + max(1, len(set))
			}
			begin = next
		}
	}
	for part, name := range []string{"bass", "tenor", "alto", "soprano"} {
		ours[part] /= float64(changes)
		theirs[part] /= float64(changes)
		t.Logf("%-8s %.2f semitones from chord to chord, in the hymns %.2f", name, ours[part], theirs[part])
		if part > 0 && (ours[part] > theirs[part] || ours[part] < theirs[part]/2) {
			t.Errorf("the %s moves by %.2f semitones, in the hymns by %.2f: want less, but not below half", name, ours[part], theirs[part])
		}
	}
	t.Logf("%d hymns, %d chord changes set, %d refused", hymns, changes, refused)
	if hymns < 90 || changes < 2000 || refused*50 > changes {
		t.Errorf("%d hymns, %d chord changes, %d refused: want most hymns, thousands, few", hymns, changes, refused)
	}
}
