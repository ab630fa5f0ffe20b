package grade

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Every part of a score is put to a fault, and no more than that: the costs add
// up to what the measures weigh, whatever was sung.
func TestFaultsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pitch := rapid.Map(rapid.IntRange(-5, 12), func(n int) float64 { return 6000 + 100*float64(n) })
		line := Line{Timed: rapid.Bool().Draw(t, "timed")}
		at := 0.0
		for _, c := range rapid.SliceOfN(pitch, 1, 14).Draw(t, "line") {
			at += rapid.SampledFrom([]float64{0, 0, 0, 1}).Draw(t, "rest")
			line.Notes = append(line.Notes, Due{c, at, rapid.SampledFrom([]float64{0.5, 1, 2}).Draw(t, "length")})
			at += line.Notes[len(line.Notes)-1].Length
		}
		line.Performed = line.Timed && rapid.Bool().Draw(t, "performed")
		w := weightsOf(line)
		var sung []Sung
		now := 0.0
		for _, n := range singLine(line.Notes, 0.5) {
			now = max(now, n.Onset)
			switch rapid.IntRange(0, 7).Draw(t, "what goes wrong") {
			case 0:
				n.Cents += rapid.Float64Range(-300, 300).Draw(t, "off")
			case 1:
				continue
			case 2:
				now += rapid.Float64Range(0, 2).Draw(t, "wait")
			case 3:
				extra := Sung{Cents: pitch.Draw(t, "extra"), Onset: now, Offset: now + rapid.Float64Range(0.05, 1).Draw(t, "extra length")}
				sung, now = append(sung, extra), extra.Offset
			}
			length := (n.Offset - n.Onset) * rapid.Float64Range(0.2, 1.5).Draw(t, "stretch")
			n.Onset, n.Offset = now, now+length
			sung, now = append(sung, n), n.Offset
		}
		g, err := Of(line, Performance{Notes: sung}, DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, f := range g.Faults {
			sum += f.Cost
		}
		m := g.Measures
		want := w.missing*m.Missing + w.passed*m.PassedOver + w.rhythm*m.Rhythm + w.added*m.Added + restartCost*float64(len(g.Alignment.Restarts))
		if d := math.Abs(g.Drift); d > driftTold {
			want += driftCost * d / 100
		}
		if !(math.Abs(sum-want) < 1e-9) {
			t.Fatalf("the faults cost %g, their measures %g: %+v", sum, want, g.Faults)
		}
	})
}
