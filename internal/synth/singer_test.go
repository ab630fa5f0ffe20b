package synth

import (
	"context"
	"errors"
	"io"
	"math"
	"reflect"
	"slices"
	"testing"
)

var asked = Ask{Hz: 220, Below: 196, Above: 247}

func TestSingerErrsAsPeopleDo(t *testing.T) {
	const items = 2000
	s := Singer{Voice: Voice{22050, Tenor}, Seed: 1}
	for _, c := range []struct {
		attempt                        int
		good, mistuned, wrong, octaves [2]int // least and most, of 100
	}{
		{0, [2]int{55, 65}, [2]int{15, 21}, [2]int{11, 17}, [2]int{6, 10}},
		{1, [2]int{84, 92}, [2]int{8, 16}, [2]int{0, 0}, [2]int{0, 0}},
	} {
		var good, mistuned, wrong, octaves, up int
		for i := range items {
			a := asked
			a.Item, a.Attempt = i, c.attempt
			in := s.Intend(a)
			off := math.Abs(in.Cents)
			switch {
			case in.Degree != 0:
				wrong++
			case in.Octaves != 0:
				octaves++
			case off > 20:
				mistuned++
				if off < 25 || off > 45 {
					t.Errorf("item %d is %g cents off, want 25 to 45", i, in.Cents)
				}
				if in.Cents > 0 {
					up++
				}
			default:
				good++
			}
			if in.Pause < 0.4 || in.Pause > 1 || in.Note.Duration < 1.6 || in.Note.Duration > 2.4 {
				t.Errorf("item %d: pause %g s, note %g s; want 0.4 … 1.0 and 1.6 … 2.4", i, in.Pause, in.Note.Duration)
			}
		}
		for _, share := range []struct {
			name string
			n    int
			want [2]int
		}{{"in tune", good, c.good}, {"mistuned", mistuned, c.mistuned}, {"another degree", wrong, c.wrong}, {"another octave", octaves, c.octaves}} {
			if p := float64(share.n) / items * 100; p < float64(share.want[0]) || p > float64(share.want[1]) {
				t.Errorf("attempt %d: %.1f of 100 are %s, want %v", c.attempt, p, share.name, share.want)
			}
		}
		if up < mistuned*2/5 || up > mistuned*3/5 {
			t.Errorf("attempt %d: %d of %d mistuned answers are sharp, want about half", c.attempt, up, mistuned)
		}
	}
}

// read drains a source in odd blocks.
func read(t *testing.T, s Singer, a Ask) []float64 {
	t.Helper()
	src := s.Answer(a)
	if src.SampleRate() != s.Voice.SampleRate {
		t.Errorf("rate %d, want %d", src.SampleRate(), s.Voice.SampleRate)
	}
	var x []float64
	block := make([]float64, 257)
	for {
		n, lost, err := src.Read(context.Background(), block)
		x = append(x, block[:n]...)
		if errors.Is(err, io.EOF) {
			return x
		}
		if err != nil || lost != 0 {
			t.Fatalf("Read: %d lost, %v", lost, err)
		}
	}
}

func TestSingerSingsWhatIsIntended(t *testing.T) {
	const rate = 16000
	s := Singer{Voice: Voice{rate, Tenor}, Seed: 12}
	kinds := map[[2]int]bool{}
	for i := range 40 {
		a := asked
		a.Item = i
		in := s.Intend(a)
		kinds[[2]int{in.Degree, in.Octaves}] = true
		x := read(t, s, a)
		want := a.Hz
		switch in.Degree {
		case 1:
			want = a.Above
		case -1:
			want = a.Below
		}
		want *= math.Exp2(float64(in.Octaves) + in.Cents/1200)
		// The median period of the held part, over whole vibrato cycles.
		start, end := int((in.Pause+0.45)*rate), int((in.Pause+in.Note.Duration-0.25)*rate)
		frame := int(3.5 * rate / want)
		var f []float64
		for at := start; at+frame < end; at += rate / 100 {
			f = append(f, cents(period(x[at:at+frame], rate, want/1.5, want*1.5), want))
		}
		slices.Sort(f)
		if off := f[len(f)/2]; !(math.Abs(off) < 12) {
			t.Errorf("item %d: sings %.1f cents from what was intended, want within 12", i, off)
		}
		if db := toDB(rms(x[:int(in.Pause*rate)])); db > -70 {
			t.Errorf("item %d: the pause is at %.0f dBFS, want a quiet room", i, db)
		}
		if peak(x) >= 1 {
			t.Errorf("item %d clips at %g", i, peak(x))
		}
	}
	if len(kinds) < 4 {
		t.Errorf("forty answers show only %v: want right ones, both neighbours and another octave", kinds)
	}
}

func TestSingerIsDeterministic(t *testing.T) {
	s := Singer{Voice: Voice{8000, Alto}, Seed: 5}
	a := asked
	a.Item = 3
	if !reflect.DeepEqual(s.Intend(a), s.Intend(a)) || !slices.Equal(read(t, s, a), read(t, s, a)) {
		t.Error("the same question has two answers")
	}
	again := a
	again.Attempt = 1
	if slices.Equal(read(t, s, a), read(t, s, again)) {
		t.Error("the retry is the same recording")
	}
}

// A low voice is not asked to go an octave lower still.
func TestSingerStaysInTheHumanVoice(t *testing.T) {
	for i := range 500 {
		in := Singer{Voice: Voice{8000, Bass}, Seed: 2}.Intend(Ask{Hz: 98, Below: 92.5, Above: 110, Item: i})
		if in.Note.Hz < 80 {
			t.Errorf("item %d: an answer at %.1f Hz", i, in.Note.Hz)
		}
	}
}
