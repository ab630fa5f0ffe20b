package synth

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"singback/theory"
)

// What is usual in every groove (common practice, as teachers of church and pop bands say
// it; beats from 1): K kick, S snare or stick, H hats, B bass. A name that is not there is
// not said. In brackets is what may be left out.
var usual = map[string]map[string]string{
	"straight":  {"kick": "1 3", "snare": "2 4", "hat": "1 1.5 2 2.5 3 3.5 4 4.5", "bass": "1 (2.5) 3 (4.5)"},
	"ballad":    {"kick": "1 2.75 3", "snare": "2 4", "bass": "1 2.75 3"},
	"half-time": {"kick": "1", "snare": "3"},
	"waltz":     {"kick": "1", "bass": "1", "chord": "2 3", "snare": "2 3"},
	"six-eight": {"kick": "1", "snare": "2", "hat": "1 1.3333 1.6667 2 2.3333 2.6667", "bass": "1 2 (2.6667)"},
	"gospel": {"kick": "1 3", "snare": "2 4", "bass": "1 2 3 4",
		"hat": "1 1.3333 1.6667 2 2.3333 2.6667 3 3.3333 3.6667 4 4.3333 4.6667"},
	"praise": {"kick": "1 2 3 4", "snare": "1.5 2.5 3.5 4.5", "bass": "1 2 3 4"},
}

func TestGrooves(t *testing.T) {
	for name, lanes := range usual {
		g, err := ParseGroove(strings.ToUpper(name))
		if err != nil {
			t.Fatal(err)
		}
		has := map[string][]string{}
		for _, o := range g.Onsets(g.Tempo) {
			has[o.What] = append(has[o.What], strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.4f", o.Beat), "0"), "."))
		}
		for lane, want := range lanes {
			left := has[lane]
			for _, w := range strings.Fields(want) {
				bare := strings.Trim(w, "()")
				i := slices.Index(left, bare)
				if i < 0 && bare == w {
					t.Errorf("%s: no %s on %s: %v", name, lane, w, has[lane])
				} else if i >= 0 {
					left = slices.Delete(slices.Clone(left), i, i+1)
				}
			}
			if len(left) > 0 {
				t.Errorf("%s: %s on %v too; usual is %s", name, lane, left, want)
			}
		}
		for _, lane := range g.lanes {
			if steps := g.Meter.Bar().Float() / g.Meter.Pulse().Float(); math.Mod(float64(len(lane)), steps) != 0 {
				t.Errorf("%s: %d steps in %v beats", name, len(lane), steps)
			}
		}
	}
	// Tempos of ballads 60–76, medium 80–110, up 120–140, praise 140–180 (common practice).
	for name, want := range map[string][2]float64{"ballad": {60, 76}, "straight": {80, 110}, "swing": {120, 140}, "praise": {140, 180}, "half-time": {60, 110}, "gospel": {60, 76}, "six-eight": {50, 76}, "waltz": {80, 140}} {
		if g, err := ParseGroove(name); err != nil || g.Tempo < want[0] || g.Tempo > want[1] {
			t.Errorf("%s: %g a minute, %v", name, g.Tempo, err)
		}
	}
	if _, err := ParseGroove("polka"); err == nil || !strings.Contains(err.Error(), `"polka"; want straight, ballad`) {
		t.Error(err)
	}
	for _, c := range []struct{ groove, meter, want string }{
		{"gospel", "4/4", "gospel"}, {"gospel", "12/8", "gospel"}, {"straight", "12/8", "gospel"}, {"straight", "3/4", "waltz"}, {"ballad", "6/8", "six-eight"},
		{"waltz", "4/4", "straight"}, {"swing", "2/2", "swing"}, {"waltz", "2/4", "straight"}, {"waltz", "3/8", "waltz"}, {"ballad", "9/8", ""}, {"praise", "5/4", ""},
	} {
		g, _ := ParseGroove(c.groove)
		m, err := theory.ParseMeter(c.meter)
		got, ok := g.For(m)
		if err != nil || ok != (c.want != "") || ok && (got.Name != c.want || got.Beats() != m.Pulses()) {
			t.Errorf("%s in %s: %s in %v, %v", c.groove, c.meter, got.Name, got.Meter, ok)
		}
	}
}

// Friberg and Sundström 2002 (their abstract): up to 3.5:1 at slow tempos, about linear, 1:1
// when fast, the short note about 100 ms from medium tempo on, 2:1 at one tempo only. The
// place of the off-beat is r/(1+r).
func TestSwing(t *testing.T) {
	twice := 0
	for tempo := 60.0; tempo <= 320; tempo++ {
		r, before := SwingRatio(tempo), SwingRatio(tempo-1)
		if r > before || r > 3.5 || r < 1 || tempo <= 120 && r != 3.5 || tempo >= 300 && r != 1 {
			t.Errorf("at %g: %.3f", tempo, r)
		}
		if short := 60000 / tempo / (1 + r); tempo >= 120 && (short < 85 || short > 112) {
			t.Errorf("at %g the short note is %.0f ms", tempo, short)
		}
		if r <= 2 && before > 2 {
			twice++
		}
	}
	if twice != 1 {
		t.Errorf("2:1 at %d tempos", twice)
	}
	g, _ := ParseGroove("swing")
	for _, o := range g.Onsets(132) {
		at := math.Mod(o.Beat, 1)
		if r := SwingRatio(132); o.What == "hat" && at != 0 && math.Abs(at-r/(1+r)) > 1e-9 {
			t.Errorf("an off-beat at %.4f", at)
		}
	}
}

// turn is a backing of I vi IV V in C, a bar each.
func turn(t *testing.T, groove string, rate int, tempo float64) *Backing {
	t.Helper()
	g, err := ParseGroove(groove)
	if err != nil {
		t.Fatal(err)
	}
	own := *g // which a test may change
	g = &own
	k, _ := theory.ParseKey("C major")
	chords, err := theory.ParseProgression("I vi IV V", k)
	if err != nil {
		t.Fatal(err)
	}
	voices, _, err := theory.KeyboardTexture().Voice(chords)
	if err != nil {
		t.Fatal(err)
	}
	b := &Backing{Keyboard: NewKeyboard(rate), Groove: g, Key: k, Tuning: theory.Tuning{A4: 440}, Tempo: tempo, Repeats: true}
	for i, v := range voices {
		b.Changes = append(b.Changes, Changed{float64(i * g.Beats()), slices.Clone(v[:])})
	}
	b.Beats = float64(len(voices) * g.Beats())
	return b
}

// Every groove is as loud as EBU R 128 wants it, stays under -1 dBTP, repeats without a
// seam, and is the same however it is cut.
func TestBandSounds(t *testing.T) {
	const rate = 48000
	for _, g := range grooves {
		band := turn(t, g.Name, rate, g.Tempo).Band()
		n := int(band.Round())
		x := make([]float64, 3*n)
		band.Fill(x, 0)
		loud, top := lufs(x[:2*n], rate), truePeak(x[n:2*n])
		t.Logf("%-9s %5.1f s round, %.2f LUFS, %.2f dBTP", g.Name, float64(n)/rate, loud, top)
		if math.Abs(loud+23) > 0.5 || top > -1 {
			t.Errorf("%s: %.2f LUFS, %.2f dBTP", g.Name, loud, top)
		}
		band = turn(t, g.Name, rate, 120).Band() // a round is a whole number of samples
		n = int(band.Round())
		x = make([]float64, 3*n)
		band.Fill(x, 0)
		for i := range n { // the second round is like the third; the first lacks what rings on
			if d := x[n+i] - x[2*n+i]; math.Abs(d) > 1e-9 {
				t.Fatalf("%s: sample %d of the round is off by %g", g.Name, i, d)
			}
		}
		cut := make([]float64, rate)
		for at, size := 0, 1; at < rate; size = size*3%701 + 1 {
			size = min(size, rate-at)
			band.Fill(cut[at:at+size], int64(n-rate/2+at))
			at += size
		}
		if !slices.Equal(cut, x[n-rate/2:n+rate/2]) {
			t.Errorf("%s: the split changes it", g.Name)
		}
		// A click would be a jump between two samples: there is none larger at the seam than
		// within the round.
		jump := func(from, to int) (most float64) {
			for i := from; i < to; i++ {
				most = max(most, math.Abs(x[i+1]-2*x[i]+x[i-1]))
			}
			return most
		}
		if seam, within := jump(n-200, n+20), jump(rate/4, n-400); seam > within {
			t.Errorf("%s: bent by %g at the seam, %g within", g.Name, seam, within)
		}
	}
}

// Over ten minutes every stroke lies within half a sample of where it is to be, at a tempo
// whose beat is no whole number of samples.
func TestBandDoesNotDrift(t *testing.T) {
	const rate, tempo = 8000, 97.3
	b := turn(t, "straight", rate, tempo)
	b.Changes = nil // percussion alone
	for i := range b.Groove.lanes {
		if i != snareLane {
			b.Groove.lanes[i] = "........"
		}
	}
	band := b.Band()
	// A stroke begins where the sound leaves exact silence.
	at := func(beat float64) int { return int(math.Round(beat * 60 / tempo * rate)) }
	for _, bar := range []int{0, 1, 7, 50, 101, 242} {
		for _, beat := range []float64{1, 3} {
			due := at(float64(4*bar) + beat)
			x := make([]float64, 400)
			band.Fill(x, int64(due)-200)
			first := slices.IndexFunc(x, func(v float64) bool { return v != 0 })
			if first != 201 { // its first sample is 0
				t.Errorf("bar %d, beat %g: begins at sample %d after it is due", bar+1, beat+1, first-200)
			}
		}
	}
	if s := float64(at(4*242+3)) / rate; s < 595 {
		t.Errorf("only %.0f s were looked at", s)
	}
}

// Nor does a metronome: after half an hour at a tempo whose bar is no whole number of samples
// its clicks lie within a sample of where they are to be.
func TestMetronomeDoesNotDrift(t *testing.T) {
	const rate, beat = 16000, 60 / 83.7
	k := NewKeyboard(rate)
	m := k.Metronome([]Beat{{At: 0, Strong: true}, {At: beat}, {At: 2 * beat, Half: true}, {At: 3 * beat}}, 4*beat)
	for _, bar := range []int{0, 3, 100, 627} {
		var peaks [4]float64
		for i := range 4 {
			due := int64(math.Round(float64(4*bar+i) * beat * rate))
			x := make([]float64, 600)
			m.Fill(x, due-100)
			first := slices.IndexFunc(x, func(v float64) bool { return v != 0 })
			if first < 100 || first > 102 { // its first sample is 0
				t.Errorf("bar %d, beat %d: begins %d samples late", bar+1, i+1, first-101)
			}
			peaks[i] = toDB(peak(x))
		}
		if half, weak := peaks[0]-peaks[2], peaks[0]-peaks[3]; math.Abs(half-4) > 1.5 || math.Abs(weak-8) > 1.5 || math.Abs(peaks[1]-peaks[3]) > 0.2 {
			t.Errorf("bar %d: the beats peak at %.1f dBFS", bar+1, peaks)
		}
	}
}

// A band that ends holds its last chord and falls silent; a pickup comes before the bar,
// and chords that change within a bar are struck there.
func TestBandEnds(t *testing.T) {
	b := turn(t, "waltz", 8000, 90)
	b.Repeats, b.Pickup, b.Beats = false, 1, 10
	b.Changes = []Changed{{0, nil}, {1, b.Changes[0].Tones}, {3, b.Changes[2].Tones}, {4, b.Changes[3].Tones}, {7, b.Changes[0].Tones}}
	band := b.Band()
	x := make([]float64, band.Samples())
	band.Fill(x, 0)
	// Dampers take up to 0.3 s.
	if late := float64(len(x))/8000 - 10*60/90.; band.Round() != 0 || x[len(x)-1] != 0 || late < -0.1 || late > 0.32 {
		t.Errorf("%d samples, the last one %g, a round of %d", len(x), x[len(x)-1], band.Round())
	}
	var basses []float64
	for _, h := range band.hits {
		if len(h.sound) > 3000 { // longer than percussion
			basses = append(basses, h.at)
		}
	}
	if basses[0] < 1 {
		t.Errorf("a chord is struck before there is one: %v", basses)
	}
	for _, want := range []float64{1, 3, 4, 7} {
		if !slices.ContainsFunc(basses, func(at float64) bool { return math.Abs(at-want) < 1e-9 }) {
			t.Errorf("nothing is struck on beat %g: %v", want, basses)
		}
	}
}

// The bass walks on tones of the chord and comes to the next one by a step of the key, and
// all of it lies in a bass's reach, E1 to B2 (lower only where the voicing is).
func TestBandLanes(t *testing.T) {
	b := turn(t, "gospel", 8000, 66)
	pitch := func(at float64, sign byte) theory.Pitch { return b.bass(b.chordAt(at), sign) }
	for i, name := range strings.Fields("C A F G") {
		at := float64(4 * i)
		root, third, fifth, lead := pitch(at, 'r'), pitch(at+1, 't'), pitch(at+2, 'f'), pitch(at+3, 'l')
		goal := pitch(float64(4*((i+1)%4)), 'r')
		up := func(p theory.Pitch) int { return p.MIDI() - root.MIDI() }
		if root.Note.ASCII() != name || up(third) != 3 && up(third) != 4 || up(fifth) != 7 {
			t.Errorf("bar %d: %s %s %s", i+1, root.ASCII(), third.ASCII(), fifth.ASCII())
		}
		if d := goal.MIDI() - lead.MIDI(); d == 0 || d > 2 || d < -2 {
			t.Errorf("bar %d leads by %s to %s", i+1, lead.ASCII(), goal.ASCII())
		}
		for _, p := range []theory.Pitch{root, third, fifth, lead} {
			if p.MIDI() < 28 || p.MIDI() > 54 {
				t.Errorf("bar %d: %s is out of a bass's reach", i+1, p.ASCII())
			}
		}
	}
	// How loud each lane is by itself, beside the whole.
	whole := func(keep ...int) float64 {
		c := turn(t, "gospel", 48000, 66)
		for i := range c.Groove.lanes {
			if !slices.Contains(keep, i) {
				c.Groove.lanes[i] = strings.Repeat(".", len(c.Groove.lanes[i]))
			}
		}
		raw := &Band{rate: 48000, beat: 60 / c.Tempo, beats: c.Beats}
		c.play(raw, map[[3]float64][]float64{})
		x := make([]float64, raw.Samples())
		raw.Fill(x, 0)
		return lufs(x, 48000)
	}
	all := whole(kickLane, snareLane, hatLane, bassLane, chordLane)
	drums, bass, chords := whole(kickLane, snareLane, hatLane)-all, whole(bassLane)-all, whole(chordLane)-all
	t.Logf("gospel: drums %.1f LU, bass %.1f LU, chords %.1f LU of the whole", drums, bass, chords)
	if drums > -5 || drums < -16 || bass > -2 || bass < -9 || chords < -6 {
		t.Errorf("drums %.1f LU, bass %.1f LU, chords %.1f LU of the whole", drums, bass, chords)
	}
}

// BenchmarkBand makes four bars of gospel at 48 kHz.
func BenchmarkBand(b *testing.B) {
	var t testing.T
	backing := turn(&t, "gospel", 48000, 66)
	for b.Loop() {
		backing.Band()
	}
}

// BenchmarkBandFill plays a second of them.
func BenchmarkBandFill(b *testing.B) {
	var t testing.T
	band := turn(&t, "gospel", 48000, 66).Band()
	x := make([]float64, 2400)
	b.ReportAllocs()
	for b.Loop() {
		for i := range 20 {
			band.Fill(x, int64(i*2400))
		}
	}
}
