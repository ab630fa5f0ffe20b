package main

import (
	"math"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// silent are the conditions of the hard set with nothing, or a codec's noise, between
// the notes.
var silent = []hardset.Condition{
	hardset.Silence, hardset.Gate, hardset.Comfort, hardset.SilenceMic, hardset.SilenceQuiet, hardset.SilenceBreathy, hardset.SilenceCreaky,
}

// silenceRows are the rows about notes that are cut out of silence.
func silenceRows() []row {
	return []row{
		within("digital silence: within 50 cents", 99.9, 50, hardset.Silence),
		overall("digital silence: overall accuracy", 99.6, hardset.Silence),
		within("noise gate: within 50 cents", 99.5, 50, hardset.Gate),
		overall("noise gate: overall accuracy", 99.5, hardset.Gate),
		within("comfort noise: within 50 cents", 99.5, 50, hardset.Comfort),
		overall("comfort noise: overall accuracy", 99.5, hardset.Comfort),
		overall("silence, small microphone: overall accuracy", 99.5, hardset.SilenceMic),
		overall("silence, quiet voice: overall accuracy", 99.6, hardset.SilenceQuiet),
		within("silence, breathy: within 50 cents", 99.5, 50, hardset.SilenceBreathy),
		within("silence, creaky: within 50 cents", 99.5, 50, hardset.SilenceCreaky),
		fewer(percent("silence, gates, comfort noise: voicing false alarm", 0.5, func(c *column) float64 { return metrics.VoicingFalseAlarm(c.all(silent...)) })),
	}
}

// estimateRows are the rows of raw pitch accuracy where a pitch is asked for whatever
// the voicing.
func estimateRows() []row {
	of := func(name string, goal float64, k ...hardset.Condition) row {
		return percent("estimates, "+name+": within 50 cents", goal, func(c *column) float64 { return metrics.RawEstimate(c.all(k...), 50) })
	}
	return []row{
		of("everything", noGoal, somebodySings()...),
		of("noise 10 dB", noGoal, hardset.Noise10),
		of("noise 0 dB", 84, hardset.Noise0),
		of("breathy", noGoal, hardset.Breathy),
		of("creaky", noGoal, hardset.Creaky),
		percent("estimates, third voices' melodies: within 50 cents", noGoal, func(c *column) float64 {
			if f, ok := c.voices[voiceMelody]; ok {
				return metrics.RawEstimate(f, 50)
			}
			return math.NaN()
		}),
	}
}

// voiceRows are the rows of the third synthesiser's voices, NaN without them.
func voiceRows() []row {
	of := func(name string, goal float64, kind string, value func([]metrics.Frame) float64) row {
		return percent("third voices, "+name, goal, func(c *column) float64 {
			f, ok := c.voices[kind]
			if !ok {
				return math.NaN()
			}
			return value(f)
		})
	}
	right := func(f []metrics.Frame) float64 { return metrics.RawPitch(f, 50) }
	whole := func(f []metrics.Frame) float64 { return metrics.Overall(f, 50) }
	lockTime := func(name string, goal, from, to float64) row {
		r := live("third voices, live, "+name+": has it for good after", goal, from, to)
		r.value = func(c *column) float64 { return medianLatency(c.locks, from, to) }
		return r
	}
	return []row{
		of("grid: within 50 cents", 99.9, voiceGrid, right),
		of("grid: overall accuracy", 99.6, voiceGrid, whole),
		of("melodies: within 50 cents", 99.9, voiceMelody, right),
		of("melodies: overall accuracy", 99.6, voiceMelody, whole),
		of("breathy: within 50 cents", 99.5, voiceBreathy, right),
		of("breathy: overall accuracy", noGoal, voiceBreathy, whole),
		of("creaky: within 50 cents", 99.5, voiceCreaky, right),
		of("creaky: overall accuracy", noGoal, voiceCreaky, whole),
		of("creaky, live: within 50 cents", noGoal, creakyLive, right),
		fewer(of("creaky, live: gross errors among voiced", 2, creakyLive, metrics.GrossErrors)),
		fewer(of("called sung when nobody sings", 0.5, voiceNobody, metrics.VoicingFalseAlarm)),
		lockTime("under 110 Hz", 33, 0, 110),
		lockTime("110 to 220 Hz", 20, 110, 220),
		lockTime("over 220 Hz", 14, 220, math.Inf(1)),
	}
}
