package main

import (
	"math"
	"slices"
	"strings"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// row is one line of the table.
type row struct {
	name   string
	unit   string
	digits int
	goal   float64 // NaN: none
	beat   string  // the program whose number is the goal
	lower  bool    // the lower the better
	slack  float64 // a difference below this means nothing
	value  func(c *column) float64
}

var noGoal = math.NaN()

// nobodySings are the sounds in which nothing may be called sung; a talker is
// apart, since speech has a pitch.
var nobodySings = []hardset.Condition{hardset.NobodyRoom, hardset.NobodyHum, hardset.NobodyBreath, hardset.NobodyTyping, hardset.NobodyPrompt, hardset.NobodyGate}

// rows is the table of goals, and a few more without one.
func rows() []row {
	return slices.Concat(pitchRows(), silenceRows(), voiceRows(), estimateRows(), voicingRows(), noteRows(), mannerRows(), thirdVibratoRows(), liveRows(), otherRows(), barRows())
}

func percent(name string, goal float64, value func(c *column) float64) row {
	return row{name: name, unit: "%", digits: 1, goal: goal, slack: 0.3, value: func(c *column) float64 { return 100 * value(c) }}
}

func within(name string, goal, cents float64, k ...hardset.Condition) row {
	return percent(name, goal, func(c *column) float64 { return metrics.RawPitch(c.all(k...), cents) })
}

func overall(name string, goal float64, k ...hardset.Condition) row {
	return percent(name, goal, func(c *column) float64 { return metrics.Overall(c.all(k...), 50) })
}

func fewer(r row) row { r.lower, r.digits = true, 2; return r }

func steady(name string, goal, snr, q float64) row {
	return row{name: name, unit: "cents", digits: 3, goal: goal, lower: true, slack: 0.05 * goal, value: func(c *column) float64 { return quantile(c.steady[snr], q) }}
}

func live(name string, goal, from, to float64) row {
	return row{name: name, unit: "ms", digits: 0, goal: goal, lower: true, slack: 1, value: func(c *column) float64 { return medianLatency(c.latency, from, to) }}
}

// medianLatency is that of the notes from one frequency to another, in ms.
func medianLatency(of []latency, from, to float64) float64 {
	var ms []float64
	for _, l := range of {
		if l.hz >= from && l.hz < to {
			ms = append(ms, l.ms)
		}
	}
	return median(ms)
}

// sight is a row of the sight-singing recordings, NaN without them.
func sight(name string, goal float64, which int) row {
	return row{name: name, unit: "F", digits: 3, goal: goal, slack: 0.005, value: func(c *column) float64 {
		if c.sight == nil {
			return math.NaN()
		}
		return c.sight[which].F()
	}}
}

// pitchRows are the rows about the pitch.
func pitchRows() []row {
	inf := math.Inf(1)
	return []row{
		overall("hard set, everything: overall accuracy", 93.5),
		within("clean melodies: within 50 cents", 99.9, 50, hardset.Clean),
		within("clean melodies: within 25 cents", 99.8, 25, hardset.Clean),
		within("clean melodies: within 10 cents", 98.5, 10, hardset.Clean),
		within("clean melodies: within 5 cents", 87, 5, hardset.Clean),
		overall("clean melodies: overall accuracy", 99.5, hardset.Clean),
		within("noise 10 dB: within 50 cents", 98.5, 50, hardset.Noise10),
		within("noise 0 dB: within 50 cents", 84, 50, hardset.Noise0),
		overall("noise 10 dB: overall accuracy", 98, hardset.Noise10),
		overall("mains hum: overall accuracy", 99, hardset.Hum),
		overall("small microphone: overall accuracy", 99.4, hardset.SmallMic),
		overall("quiet voice: overall accuracy", 99.5, hardset.Quiet),
		overall("room, RT60 0.6 s: overall accuracy", 91, hardset.Reverb),
		overall("own drone at -18 dB: overall accuracy", 96, hardset.Drone),
		within("breathy: within 50 cents", 99.5, 50, hardset.Breathy),
		within("creaky: within 50 cents", 99.5, 50, hardset.Creaky),
		within("bright vowels, 330-660 Hz: within 50 cents", 99.9, 50, hardset.Bright),
		within("soprano above 660 Hz: within 50 cents", 99.9, 50, hardset.High),
		within("fast onsets: within 50 cents", noGoal, 50, hardset.Fast),
		steady("steady notes, clean: median error", 0.01, inf, 0.5),
		steady("steady notes, clean: 95th percentile", 0.07, inf, 0.95),
		steady("steady notes, 20 dB: median error", 0.13, 20, 0.5),
		steady("steady notes, 10 dB: median error", 0.65, 10, 0.5),
		steady("steady notes, 0 dB: median error", 3.0, 0, 0.5),
	}
}

// voicingRows are the rows about octaves, gross errors and voicing.
func voicingRows() []row {
	return []row{
		fewer(percent("octave errors among voiced", 0.25, func(c *column) float64 { return metrics.OctaveErrors(c.all()) })),
		fewer(percent("gross errors (> 100 cents) among voiced", 1.0, func(c *column) float64 { return metrics.GrossErrors(c.all()) })),
		percent("voicing recall", noGoal, func(c *column) float64 { return metrics.VoicingRecall(c.all()) }),
		fewer(percent("voicing false alarm, where somebody sings", noGoal, func(c *column) float64 { return metrics.VoicingFalseAlarm(c.all(somebodySings()...)) })),
		fewer(percent("called sung when nobody sings", 0.5, func(c *column) float64 { return metrics.VoicingFalseAlarm(c.all(nobodySings...)) })),
		fewer(percent("called sung when somebody talks far away", noGoal, func(c *column) float64 { return metrics.VoicingFalseAlarm(c.all(hardset.NobodyTalker)) })),
	}
}

// noteRows are the rows about notes.
func noteRows() []row {
	return []row{
		sight("sight-singing: onset F at 50 ms", 0.88, 0),
		sight("sight-singing: onset and pitch F", 0.80, 1),
		sight("sight-singing: onset, pitch and offset F", noGoal, 2),
		{name: "clean melodies: onset F at 50 ms", unit: "F", digits: 3, goal: noGoal, slack: 0.005, value: func(c *column) float64 { return c.notes[hardset.Clean][0].F() }},
		{name: "clean melodies: onset and pitch F", unit: "F", digits: 3, goal: noGoal, slack: 0.005, value: func(c *column) float64 { return c.notes[hardset.Clean][1].F() }},
		{name: "single sung notes, right note and octave of 36", unit: "notes", goal: 36, value: func(c *column) float64 {
			if c.sight == nil {
				return math.NaN()
			}
			return float64(c.right)
		}},
		{name: "single sung notes, from the agreeing trackers: median", unit: "cents", digits: 2, goal: 1.5, lower: true, slack: 0.3, value: func(c *column) float64 { return median(c.single) }},
	}
}

// liveRows are the rows about waiting.
func liveRows() []row {
	inf := math.Inf(1)
	return []row{
		live("live, 20 dB, under 110 Hz: has it for good after", 35, 0, 110),
		live("live, 20 dB, 110 to 220 Hz: has it for good after", 22, 110, 220),
		live("live, 20 dB, over 220 Hz: has it for good after", 20, 220, inf),
		{name: "live: notes it never has for good", unit: "notes", goal: 0, lower: true, value: func(c *column) float64 {
			if c.latency == nil {
				return math.NaN()
			}
			n := 0.0
			for _, l := range c.latency {
				if math.IsInf(l.ms, 1) {
					n++
				}
			}
			return n
		}},
		{name: "live: a reading is final after, at most", unit: "ms", goal: 120, lower: true, slack: 1, value: func(c *column) float64 { return c.final }},
	}
}

// otherRows are the rows about honesty, speed and memory.
func otherRows() []row {
	return []row{
		fewer(percent("confidence: mean distance from the share of right frames", noGoal, func(c *column) float64 {
			if c.name != "ours" {
				return math.NaN()
			}
			return metrics.CalibrationError(metrics.Calibration(c.all(), 10, 50))
		})),
		{name: "standard error: steady frames within one, 68.3 is honest", unit: "%", digits: 1, goal: noGoal, value: func(c *column) float64 {
			within := 0.0
			for _, e := range c.scaled {
				if e <= 1 {
					within++
				}
			}
			return 100 * within / float64(len(c.scaled)) // NaN without any
		}},
		{name: "speed, one core, 10 ms hop", unit: "x real time", goal: noGoal, beat: "aubio-yinfast", slack: 1, value: func(c *column) float64 { return c.speed }},
		{name: "live session: allocations a push", unit: "", digits: 3, goal: 0, lower: true, value: func(c *column) float64 { return c.allocs }},
		{name: "live session: growth after the first minute", unit: "KiB", goal: 64, lower: true, value: func(c *column) float64 { return c.growth }},
	}
}

func somebodySings() (out []hardset.Condition) {
	for _, k := range hardset.Conditions() {
		if !k.Nobody() {
			out = append(out, k)
		}
	}
	return out
}

// better tells whether a is better than b by more than the slack.
func (r row) better(a, b float64) bool {
	if math.IsNaN(a) || math.IsNaN(b) {
		return false
	}
	if r.lower {
		return a < b-r.slack
	}
	return a > b+r.slack
}

// target is the goal, NaN if there is none.
func (r row) target(values map[string]float64) float64 {
	if v, ok := values[r.beat]; ok {
		return v
	}
	return r.goal
}

// met is "yes" or "no", and who is better than ours.
func (r row) met(values map[string]float64) (met string, behind string) {
	own, ok := values["ours"]
	if !ok || math.IsNaN(own) {
		return "-", ""
	}
	met = "-"
	if goal := r.target(values); !math.IsNaN(goal) {
		met = "no"
		if r.lower && own <= goal+1e-9 || !r.lower && own >= goal-1e-9 {
			met = "yes"
		}
	}
	var ahead []string
	for _, name := range toolNames() {
		if v, ok := values[name]; ok && r.better(v, own) {
			ahead = append(ahead, name)
		}
	}
	return met, strings.Join(ahead, " ")
}
