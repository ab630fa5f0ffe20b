// Command makerecord makes testdata/record/anna.csv again: five weeks of practice of a
// singer who does not exist, in the form of singback record export.
//
//	go run ./internal/testkit/makerecord >testdata/record/anna.csv
//
// The handbook's examples and the picture of the progress page are made of it. Its
// answers are drawn, from a fixed seed, for an ear that gets better, hears mi high
// and takes la for sol; they are marked as those of a simulated singer. It writes
// text, and shares no code with what reads it.
package main

import (
	"bufio"
	"crypto/sha256"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"time"
)

func main() {
	w := bufio.NewWriter(os.Stdout)
	write(w)
	if err := w.Flush(); err != nil {
		fmt.Fprintln(os.Stderr, "makerecord:", err)
		os.Exit(1)
	}
}

const header = "singer,session,started,command,source,seed,estimator,number,item,attempt,at,skill,key,tuning,a4_hz,tolerance_cents," +
	"strict_octave,tonic_octave,range_low,range_high,degree,from_degree,move,target_midi,outcome,reason,sung,octave_shift,cents," +
	"cents_from_asked,cents_se,f0_hz,spread_cents,vibrato_hz,vibrato_cents,scoop_cents,settle_s,held_s,answer_s,level_dbfs,counts," +
	"again,feedback,guess,named,material,notes,notes_right,by_steps"

const (
	sittings  = 28
	questions = 30 // to a sitting
	perKey    = 10 // questions to a key
	singer    = "Anna"
)

// ear is how a degree is heard: cents off on average, scattered by spread, and how
// often it is taken for another one, at first and at last.
type ear struct {
	bias, spread float64
	lost         [2]float64
	for_         int // the degree it is taken for
}

var ears = map[int]ear{
	1: {bias: 1, spread: 13, lost: [2]float64{.05, .02}, for_: 5},
	2: {bias: -3, spread: 18, lost: [2]float64{.20, .07}, for_: 3},
	3: {bias: 8, spread: 16, lost: [2]float64{.12, .03}, for_: 5},
	4: {bias: -6, spread: 20, lost: [2]float64{.25, .10}, for_: 5},
	5: {bias: 0, spread: 13, lost: [2]float64{.06, .02}, for_: 1},
	6: {bias: -9, spread: 22, lost: [2]float64{.38, .28}, for_: 5},
	7: {bias: -12, spread: 21, lost: [2]float64{.30, .06}, for_: 1},
}

// above is how many semitones a degree lies above the tonic.
var above = map[int]int{1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 11}

// keys are the keys that are sung in, and their tonics.
var keys = []struct {
	name  string
	tonic int // MIDI number
}{
	{"C major", 60}, {"G major", 55}, {"F major", 65}, {"D major", 62}, {"Bb major", 58}, {"Ab major", 56},
}

// stage is what is asked in a sitting: more as the weeks go by.
func stage(sitting int) (degrees []int, moves bool, tolerance int) {
	switch {
	case sitting < 5:
		return []int{1, 3, 5}, false, 50
	case sitting < 10:
		return []int{1, 3, 5}, true, 50
	case sitting < 17:
		return []int{1, 2, 3, 5, 6}, true, 40
	}
	return []int{1, 2, 3, 4, 5, 6, 7}, true, 40
}

// write writes the header and every answer.
func write(w io.Writer) {
	fmt.Fprintln(w, header)
	draw := rand.New(rand.NewPCG(13, 2026))
	day := time.Date(2026, 9, 20, 19, 15, 0, 0, time.FixedZone("", 2*60*60))
	for sitting := range sittings {
		if sitting > 0 {
			day = day.AddDate(0, 0, 1)
			if sitting%4 == 0 {
				day = day.AddDate(0, 0, 1) // an evening without
			}
		}
		sit(w, draw, sitting, day)
	}
}

// sit writes the answers of one sitting.
func sit(w io.Writer, draw *rand.Rand, sitting int, started time.Time) {
	degrees, moves, tolerance := stage(sitting)
	id := fmt.Sprintf("%x", sha256.Sum256(fmt.Appendf(nil, "invented %d", sitting)))[:32]
	at := started
	first := draw.IntN(len(keys))
	from := 0
	for n := range questions {
		key := keys[(first+n/perKey)%len(keys)]
		asked := degrees[draw.IntN(len(degrees))]
		for asked == from {
			asked = degrees[draw.IntN(len(degrees))]
		}
		skill, fromText, move := fmt.Sprintf("degree %d", asked), "", 0
		if moves && n%perKey > 0 && draw.Float64() < .6 {
			way := "up"
			if move = 1; above[asked] < above[from] {
				way, move = "down", -1
			}
			skill, fromText = fmt.Sprintf("pair %d-%d %s", from, asked, way), fmt.Sprint(from)
		}
		from = asked
		e := ears[asked]
		done := float64(sitting) / (sittings - 1)
		sung, off := asked, e.bias+e.spread*(1.4-.5*done)*draw.NormFloat64()
		if draw.Float64() < e.lost[0]+(e.lost[1]-e.lost[0])*done {
			sung, off = e.for_, 12*draw.NormFloat64()
		}
		off = max(-44, min(44, off))
		outcome := "in_tune"
		switch {
		case sung != asked:
			outcome = "other_degree"
		case off > float64(tolerance):
			outcome = "sharp"
		case off < -float64(tolerance):
			outcome = "flat"
		}
		apart := 100*float64(above[sung]-above[asked]) + off
		if apart > 600 {
			apart -= 1200
		} else if apart < -600 {
			apart += 1200
		}
		target := key.tonic + above[asked]
		hz := 440 * math.Exp2((float64(target)-69)/12+apart/1200)
		answer := (.5 + .5*draw.Float64()) * (1.6 - .7*done)
		at = at.Add(time.Duration(5000+3000*draw.Float64()) * time.Millisecond)
		fields := []string{
			singer, id, stamp(started), "today", "simulated", fmt.Sprint(sitting), "invented",
			fmt.Sprint(n + 1), fmt.Sprint(n + 1), "1", stamp(at), skill, key.name, "equal", "440", fmt.Sprint(tolerance),
			"false", fmt.Sprint(key.tonic/12 - 1), "", "", fmt.Sprint(asked), fromText, fmt.Sprint(move), fmt.Sprint(target),
			outcome, "", fmt.Sprint(sung), "0", tenths(off), tenths(apart), "1", tenths(hz),
			tenths(3 + 4*draw.Float64()), "5.5", tenths(15 + 15*draw.Float64()), tenths(-60 * draw.Float64()), "0.1", "2", hundredths(answer),
			"-21", "true", "false", "full", "", "", "", "", "", "false",
		}
		fmt.Fprintln(w, strings.Join(fields, ","))
	}
}

func stamp(t time.Time) string { return t.Format("2006-01-02T15:04:05.000Z07:00") }

func tenths(x float64) string     { return fmt.Sprintf("%g", math.Round(10*x)/10+0) }
func hundredths(x float64) string { return fmt.Sprintf("%g", math.Round(100*x)/100) }
