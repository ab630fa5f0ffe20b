package session

import (
	"math"
	"testing"

	"singback/pitch"
	"singback/theory"
)

// A verdict comes with all that its picture needs: every point of the window, in order,
// and the note with the part that was measured. What a live source says later does not
// touch it.
func TestVerdictHasItsPicture(t *testing.T) {
	cfg := config()
	list := items(t, "do", "mi")
	var heard []float64
	for _, it := range list {
		target, _ := it.Target()
		heard = append(heard, silence(0.5)...)
		heard = append(heard, tone(1.5, it.Hz(target))...)
		heard = append(heard, silence(1)...)
	}
	var all []Judged
	s := &script{sing: live(recording(heard))}
	s.on = func(e Event) {
		if j, ok := e.(Judged); ok {
			all = append(all, j)
		}
	}
	if _, err := s.degrees(list, 0).run(t.Context(), cfg, null); err != nil {
		t.Fatal(err)
	}
	if len(all) != len(list) {
		t.Fatalf("%d verdicts", len(all))
	}
	hop := int64(pitch.DefaultConfig(rate).Hop)
	for i, j := range all {
		target, _ := list[i].Target()
		note := j.Take.Note
		if !j.Take.Found || j.Take.SampleRate != rate || note.F0 != j.Verdict.F0 {
			t.Fatalf("answer %d: %+v", i+1, j.Take)
		}
		seconds := func(samples int64) float64 { return float64(samples) / rate }
		// Dai & Dixon (2019), as pitch.Note has it: 120 ms at either end are no part of it.
		if from, to := seconds(note.From-note.Onset), seconds(note.Offset-note.To); math.Abs(from-0.12) > 0.011 || math.Abs(to-0.12) > 0.011 {
			t.Errorf("answer %d is measured from %.3f s after its onset to %.3f s before its end, want 0.12 s", i+1, from, to)
		}
		last := j.Curve[len(j.Curve)-1]
		if j.Curve[0].Index != 0 || last.Index+hop != j.Take.Heard || int64(len(j.Curve)) != j.Take.Heard/hop {
			t.Fatalf("answer %d: %d points from %d to %d, heard %d", i+1, len(j.Curve), j.Curve[0].Index, last.Index, j.Take.Heard)
		}
		for k, p := range j.Curve {
			if p.Index != int64(k)*hop {
				t.Fatalf("answer %d: point %d is at %d", i+1, k, p.Index)
			}
			if p.Index >= note.From && p.Index < note.To && (!p.Voiced || math.Abs(theory.CentsBetween(p.F0, list[i].Hz(target))) > 2) {
				t.Errorf("answer %d: %+v within what was measured, want %.1f Hz", i+1, p, list[i].Hz(target))
			}
		}
	}
}
