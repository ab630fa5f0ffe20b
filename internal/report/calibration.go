package report

import (
	"fmt"
	"strings"

	"singback/calib"
)

// Calibration is the record of one calibration. What was not measured is null.
type Calibration struct {
	Schema    int               `json:"schema"`
	Simulated bool              `json:"simulated"` // a simulated singer was measured
	Parts     []CalibrationPart `json:"parts"`
	Noise     *NoiseRecord      `json:"noise"`
	Ease      *EaseRecord       `json:"ease"`
	Echo      *EchoRecord       `json:"echo"`
	Tuned     *TunedRecord      `json:"tuned"`
	Advice    []AdviceRecord    `json:"advice"`
	Published []PublishedRecord `json:"published"` // to see error_cents of the voice beside
	Again     *AgainRecord      `json:"again"`     // when a growing voice is tested again
	Saved     *string           `json:"saved"`     // the file; null where nothing was saved
	Profile   Profile           `json:"profile"`
}

// CalibrationPart says what came of a part.
type CalibrationPart struct {
	Part    string  `json:"part"`    // room, level, leak, voice, instrument
	Outcome string  `json:"outcome"` // measured, stated, skipped, not_measured
	Reason  *string `json:"reason"`
}

// NoiseRecord is what was heard of the room.
type NoiseRecord struct {
	FloorDBFS     float64      `json:"floor_dbfs"`
	LoudDBFS      float64      `json:"loud_dbfs"`
	HumHz         *float64     `json:"hum_hz"`
	HumDBFS       *float64     `json:"hum_dbfs"`
	BroadbandDBFS float64      `json:"broadband_dbfs"`
	Fan           bool         `json:"fan"`
	Bands         []BandRecord `json:"bands"`
}

// BandRecord is the level of an octave.
type BandRecord struct {
	Hz   float64 `json:"hz"`
	DBFS float64 `json:"dbfs"`
}

// EaseRecord is how the singer at ease reached the microphone.
type EaseRecord struct {
	LevelDBFS float64 `json:"level_dbfs"`
	PeakDBFS  float64 `json:"peak_dbfs"`
	VoicedS   float64 `json:"voiced_s"`
	Clipped   bool    `json:"clipped"`
}

// EchoRecord is what the microphone heard of the test sound.
type EchoRecord struct {
	Heard   bool     `json:"heard"`
	LevelDB *float64 `json:"level_db"` // against what was played
	DelayS  *float64 `json:"delay_s"`
	Ratio   float64  `json:"ratio"` // of the matched filter's peak to its median; heard from 7 on
}

// TunedRecord is how the instrument is tuned.
type TunedRecord struct {
	A4Hz        float64 `json:"a4_hz"`
	SECents     float64 `json:"se_cents"`
	SpreadCents float64 `json:"spread_cents"`
	Notes       int     `json:"notes"`
	Odd         int     `json:"odd"` // notes left out
}

// AdviceRecord is something to do.
type AdviceRecord struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// PublishedRecord is a published number.
type PublishedRecord struct {
	Cents  float64 `json:"cents"`
	What   string  `json:"what"`
	Source string  `json:"source"`
}

// AgainRecord is a span of days.
type AgainRecord struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// NewNoise, NewEase, NewEcho and NewTuned make the records of what was measured;
// of nil, nil.
func NewNoise(n *calib.Noise) *NoiseRecord {
	if n == nil {
		return nil
	}
	r := &NoiseRecord{
		FloorDBFS: round(n.Floor, 1), LoudDBFS: round(n.Loud, 1), BroadbandDBFS: round(n.Broadband, 1),
		Fan: n.Fan, Bands: []BandRecord{},
	}
	if n.Hum > 0 {
		r.HumHz, r.HumDBFS = number(n.Hum, 1), number(n.HumLevel, 1)
	}
	for _, b := range n.Bands {
		r.Bands = append(r.Bands, BandRecord{round(b.Hz, 1), round(b.Level, 1)})
	}
	return r
}

// NewEase is explained at NewNoise.
func NewEase(e *calib.Ease) *EaseRecord {
	if e == nil {
		return nil
	}
	return &EaseRecord{round(e.Level, 1), round(e.Peak, 1), round(e.Seconds, 2), e.Clipped()}
}

// NewEcho is explained at NewNoise.
func NewEcho(e *calib.Echo) *EchoRecord {
	if e == nil {
		return nil
	}
	r := &EchoRecord{Heard: e.Heard, Ratio: round(e.Ratio, 1)}
	if e.Heard {
		r.LevelDB, r.DelayS = number(e.Level, 1), number(e.Delay, 4)
	}
	return r
}

// NewTuned is explained at NewNoise.
func NewTuned(t *calib.Tuned) *TunedRecord {
	if t == nil {
		return nil
	}
	return &TunedRecord{round(t.A4, 2), round(t.SE, 2), round(t.Spread, 2), t.Notes, t.Odd}
}

// NewAdvice makes the records of advice.
func NewAdvice(list []calib.Advice) []AdviceRecord {
	out := []AdviceRecord{}
	for _, a := range list {
		out = append(out, AdviceRecord{a.Code(), a.String()})
	}
	return out
}

// NewPublished makes the records of the published numbers.
func NewPublished() []PublishedRecord {
	var out []PublishedRecord
	for _, p := range []calib.Published{calib.PublishedError, calib.PublishedTolerance} {
		out = append(out, PublishedRecord{p.Cents, p.What, p.Source})
	}
	return out
}

// Calibration says what was measured and what to do, in lines of at most 80
// cells.
func (s Style) Calibration(c Calibration) string {
	var b strings.Builder
	if c.Simulated {
		b.WriteString("A simulated singer was measured, not you.\n\n")
	}
	b.WriteString(s.Profile(c.Profile))
	b.WriteString("\n")
	for _, p := range c.Parts {
		line := strings.ReplaceAll(p.Outcome, "_", " ")
		if p.Reason != nil {
			line += ": " + *p.Reason
		}
		hanging(&b, p.Part, line)
	}
	if n := c.Noise; n != nil {
		what := "no hum and no fan is heard"
		switch {
		case n.HumHz != nil && n.Fan:
			what = fmt.Sprintf("mains hum of %g Hz and a fan are heard", *n.HumHz)
		case n.HumHz != nil:
			what = fmt.Sprintf("mains hum of %g Hz is heard", *n.HumHz)
		case n.Fan:
			what = "a fan or the like is heard"
		}
		hanging(&b, "noise", what+"; dBFS is the computer's scale, not loudness in the room")
	}
	if v := c.Profile.Voice; v != nil && v.ErrorCents != nil {
		for i, p := range c.Published {
			head := ""
			if i == 0 {
				head = "beside it"
			}
			hanging(&b, head, fmt.Sprintf("%g cents: %s (%s)", p.Cents, p.What, p.Source))
		}
		hanging(&b, "", "One test understates a range; --widen adds to it next time.")
	}
	if a := c.Again; a != nil {
		hanging(&b, "again", fmt.Sprintf("a growing voice is tested again from %s to %s", a.From, a.To))
	}
	for i, a := range c.Advice {
		head := ""
		if i == 0 {
			head = "advice"
		}
		hanging(&b, head, a.Text)
	}
	if len(c.Advice) == 0 && c.Noise != nil && c.Ease != nil {
		hanging(&b, "advice", "Nothing to change: the microphone hears you well.")
	}
	switch {
	case c.Saved != nil:
		fmt.Fprintf(&b, "%-12s%s\n", "saved", *c.Saved)
	case c.Simulated:
		hanging(&b, "saved", "nothing, since nobody sang; --profile FILE keeps it all the same")
	default:
		hanging(&b, "saved", "nothing")
	}
	return b.String()
}

// hanging writes a text beside its head, broken into lines of at most 78 cells.
func hanging(b *strings.Builder, head, text string) {
	b.WriteString(hang(head, text, 12, 78) + "\n")
}
