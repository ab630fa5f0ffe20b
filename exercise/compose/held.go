package compose

import (
	"slices"

	"singback/theory"
)

// Held is a chord that was recognised from the keys that hold it.
type Held struct {
	Name      string         // its quality, among Qualities
	Chord     theory.Chord   // over the note that lies lowest
	Inversion int            // which of its tones lies lowest; 0 is the root
	Open      bool           // the tones above the lowest take more than an octave
	Voicing   []theory.Pitch // from the bottom up
}

// Recognise recognises a chord from what is held, MIDI numbers from the bottom up. One
// that could be several has the root of heard, if it can, else its lowest note, else the
// lowest of its tones that can be a root. A seventh chord, and a major or minor one, may
// lack its perfect fifth. False if it is none that can be asked.
func Recognise(k theory.Key, heard theory.Note, keys []int) (Held, bool) {
	if len(keys) < 3 {
		return Held{}, false
	}
	pcs := make([]int, len(keys))
	var set uint16
	for i, key := range keys {
		pcs[i] = key % 12
		set |= 1 << pcs[i]
	}
	roots := append([]int{pitchClass(heard)}, pcs...)
	for _, lacks := range []bool{false, true} {
		for _, root := range roots {
			if set&(1<<root) == 0 {
				continue
			}
			above := set>>root | set<<(12-root)
			above &= 1<<12 - 1
			for _, q := range qualities {
				sound := soundOf(q.tones())
				const fifth = 1 << 7
				if lacks && (len(q.tones().Tones()) == 4 || q.name == "maj" || q.name == "min") {
					if sound&fifth == 0 {
						continue
					}
					sound &^= fifth
				} else if lacks {
					continue
				}
				if sound == above {
					return heldAs(k, heard, q, root, keys), true
				}
			}
		}
	}
	return Held{}, false
}

func pitchClass(n theory.Note) int { return (theory.Pitch{Note: n, Octave: 4}).MIDI() % 12 }

// heldAs spells a chord on a root.
func heldAs(k theory.Key, heard theory.Note, q quality, root int, keys []int) Held {
	note := heard
	if pitchClass(heard) != root {
		tonic := pitchClass(k.Tonic)
		for _, d := range k.ChromaticDegrees() {
			if (tonic+d.Semitones())%12 == root {
				note = k.Note(d)
			}
		}
	}
	h := Held{Name: q.name, Chord: theory.Chord{Root: note, Quality: q.tones(), Bass: note}}
	tones := q.tones().Tones()
	for i, key := range keys {
		at := slices.IndexFunc(tones, func(d theory.Degree) bool { return (root+d.Semitones())%12 == key%12 })
		p := theory.Pitch{Note: h.Chord.Note(tones[at]), Octave: -1}
		for p.MIDI() < key {
			p.Octave++
		}
		if i == 0 {
			h.Inversion, h.Chord.Bass = at, p.Note
		}
		h.Voicing = append(h.Voicing, p)
	}
	h.Open = len(keys) > 2 && keys[len(keys)-1]-keys[1] > 12
	return h
}
