package pitch

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/metrics"
	"singback/internal/testkit/training"
)

// sungMelody is a recording with the notes that people annotated, read by the tracker.
type sungMelody struct {
	name   string
	cfg    Config
	points []Point
	heard  heardPeaks
	notes  []metrics.Note
}

// sungMelodies reads the sight-singing recordings of the reference data. The pitch of a
// note is the annotated one less the recording's own offset, as in internal/testkit/evaluate.
func sungMelodies(t *testing.T) []*sungMelody {
	t.Helper()
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE does not name the folder of reference data")
	}
	clips, err := training.Recordings(dir)
	if err != nil {
		t.Fatal(err)
	}
	table := func(name string) []map[string]string {
		rows, err := testkit.Table(filepath.Join(dir, "sight-singing", name))
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	rows, recordings := table("notes.csv"), table("recordings.csv")
	out := make([]*sungMelody, len(clips))
	for i, c := range clips {
		m := &sungMelody{name: c.Name, cfg: DefaultConfig(c.Rate)}
		m.cfg.Reading = Offline
		offset := number(recordings[i]["annotation_minus_measured_cents"])
		for _, n := range rows {
			if n["recording"] == c.Name {
				m.notes = append(m.notes, metrics.Note{
					Onset: number(n["onset"]), Offset: number(n["offset"]),
					Hz: 440 * math.Exp2((number(n["annotated_midi"])-69-offset/100)/12),
				})
			}
		}
		out[i] = m
	}
	atOnce(len(out), func(i int) {
		tr, err := NewTracker(out[i].cfg)
		if err != nil {
			t.Error(err)
			return
		}
		out[i].points = tr.Flush(tr.Push(nil, clips[i].X))
		out[i].heard = hearMarks(out[i].cfg, out[i].points, clips[i].Notes)
	})
	return out
}

// found counts the notes that are found as annotated: onsets within 50 ms, pitches within
// 50 cents as well, offsets within 50 ms or a fifth of the note as well (MIREX).
type found struct{ onset, pitch, offset metrics.Matched }

func (f *found) add(m *sungMelody) error {
	notes, err := Notes(m.cfg, m.points)
	if err != nil {
		return err
	}
	rate := float64(m.cfg.SampleRate)
	var est []metrics.Note
	for _, n := range notes {
		est = append(est, metrics.Note{Onset: float64(n.Onset) / rate, Offset: float64(n.Offset) / rate, Hz: n.F0})
	}
	onset, pitch, offset := metrics.OnsetWithin(.05), metrics.PitchWithin(50), metrics.OffsetWithin(.2, .05)
	f.onset.Add(metrics.Compare(m.notes, est, onset))
	f.pitch.Add(metrics.Compare(m.notes, est, onset, pitch))
	f.offset.Add(metrics.Compare(m.notes, est, onset, pitch, offset))
	return nil
}

// Notes of recordings that the onset and place models were not fitted on: fitted on every
// second recording and tried on the others; with SINGBACK_SUNG=all also fitted on five
// sixths and tried on the last, four neighbours of the table. The goals are 0.90, 0.86 and 0.76; the annotations are those of
// HUST_Solfege and SSVD v2.0 (reference data, sight-singing). Praat's pitch cut by a plain
// segmenter has 0.79, 0.75 and 0.66 here (make evaluate).
func TestNotesOfOtherSingers(t *testing.T) {
	if testing.Short() || raceDetector {
		t.Skip("reads a quarter of an hour of singing")
	}
	melodies := sungMelodies(t)
	var shipped found
	for _, m := range melodies {
		if err := shipped.add(m); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("as shipped, fitted on all: onset F %.4f, and pitch %.4f, and offset %.4f", shipped.onset.F(), shipped.pitch.F(), shipped.offset.F())
	a, b := onsetWeights, placeWeights
	t.Cleanup(func() { onsetWeights, placeWeights = a, b })
	ways := []struct {
		name  string
		part  func(i int) int
		parts int
		least [3]float64
	}{
		{"the other half", func(i int) int { return i % 2 }, 2, [3]float64{.89, .86, .76}},
		{"the other sixth", func(i int) int { return i * 6 / len(melodies) }, 6, [3]float64{.88, .85, .75}},
	}
	if os.Getenv("SINGBACK_SUNG") != "all" {
		ways = ways[:1]
	}
	for _, c := range ways {
		var all found
		for part := range c.parts {
			var set []heardPeaks
			for i, m := range melodies {
				if c.part(i) != part {
					set = append(set, m.heard)
				}
			}
			place, onset, _ := fitHeard(t, set, placeRidge, onsetRidge)
			copy(placeWeights[:], place)
			copy(onsetWeights[:], onset)
			var one found
			for i, m := range melodies {
				if c.part(i) != part {
					continue
				}
				for _, f := range []*found{&all, &one} {
					if err := f.add(m); err != nil {
						t.Fatal(err)
					}
				}
			}
			t.Logf("%s, part %d: onset F %.3f, and pitch %.3f, and offset %.3f", c.name, part+1, one.onset.F(), one.pitch.F(), one.offset.F())
		}
		got := [3]float64{all.onset.F(), all.pitch.F(), all.offset.F()}
		t.Logf("%s: onset F %.4f, and pitch %.4f, and offset %.4f (%d notes, %d annotated)", c.name, got[0], got[1], got[2], all.onset.Est, all.onset.Ref)
		for i, v := range got {
			if v < c.least[i] {
				t.Errorf("%s: F of onset, pitch, offset %.3f, want at least %.3f", c.name, got, c.least)
				break
			}
		}
	}
}
