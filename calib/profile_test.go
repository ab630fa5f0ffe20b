package calib

import (
	"errors"
	"math"
	"strings"
	"testing"

	"singback/theory"
)

// whole is an invented profile with every part.
func whole() Profile {
	day := Date{2028, 2, 29}
	return Profile{
		Version: Version, Name: "Wilma T", Made: day,
		Voice:      &Voice{Date: day, Comfortable: theory.Range{Low: 48, High: 67}, Tessitura: theory.Range{Low: 52, High: 62}, Notes: 9, Error: 20, Spread: 8},
		Room:       &Room{Date: day, Floor: -60, Gate: -50, Hum: 60, Voice: -20, Peak: -6, Leak: -30, Delay: 0.03},
		Instrument: &Instrument{Date: day, A4: 440, SE: 0.3, Notes: 4},
	}
}

// Each field out of its range is named.
func TestValidate(t *testing.T) {
	if err := whole().Validate(); err != nil {
		t.Fatal(err)
	}
	if err := (Profile{Version: 1, Name: "x", Made: Date{2026, 1, 31}}).Validate(); err != nil {
		t.Errorf("nothing known yet: %v", err)
	}
	for field, spoil := range map[string]func(*Profile){
		"version":             func(p *Profile) { p.Version = Version + 1 },
		"name":                func(p *Profile) { p.Name = "a\x00b" },
		"name ":               func(p *Profile) { p.Name = strings.Repeat("x", MaxName+1) },
		"made":                func(p *Profile) { p.Made = Date{2027, 2, 29} },
		"voice.date":          func(p *Profile) { p.Voice.Date = Date{2026, 13, 1} },
		"voice.comfortable":   func(p *Profile) { p.Voice.Comfortable = theory.Range{Low: 67, High: 48} },
		"voice.comfortable ":  func(p *Profile) { p.Voice.Comfortable = theory.Range{Low: 0, High: 48} },
		"voice.tessitura":     func(p *Profile) { p.Voice.Tessitura = theory.Range{Low: 52, High: 68} },
		"voice.tessitura ":    func(p *Profile) { p.Voice.Tessitura = theory.Range{Low: 60, High: 52} },
		"voice.notes":         func(p *Profile) { p.Voice.Notes = -1 },
		"voice.error_cents":   func(p *Profile) { p.Voice.Error = math.NaN() },
		"voice.spread_cents":  func(p *Profile) { p.Voice.Spread = -1 },
		"room.date":           func(p *Profile) { p.Room.Date = Date{} },
		"room.floor_dbfs":     func(p *Profile) { p.Room.Floor = math.Inf(-1) },
		"room.gate_dbfs":      func(p *Profile) { p.Room.Gate = -19 },
		"room.hum_hz":         func(p *Profile) { p.Room.Hum = 55 },
		"room.voice_dbfs":     func(p *Profile) { p.Room.Voice = 21 },
		"room.peak_dbfs":      func(p *Profile) { p.Room.Peak = math.NaN() },
		"room.leak_db":        func(p *Profile) { p.Room.Leak = 61 },
		"room.delay_s":        func(p *Profile) { p.Room.Delay = -0.001 },
		"instrument.date":     func(p *Profile) { p.Instrument.Date = Date{2026, 4, 31} },
		"instrument.a4_hz":    func(p *Profile) { p.Instrument.A4 = 391 },
		"instrument.se_cents": func(p *Profile) { p.Instrument.SE = math.Inf(1) },
		"instrument.notes":    func(p *Profile) { p.Instrument.Notes = MaxNotes + 1 },
	} {
		p := whole()
		spoil(&p)
		var bad Invalid
		if err := p.Validate(); !errors.As(err, &bad) || bad.Field != strings.TrimSpace(field) || bad.Problem == "" {
			t.Errorf("%s: %v", field, err)
		}
	}
}
