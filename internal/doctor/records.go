package doctor

import (
	"io/fs"
	"time"

	"singback/internal/device"
)

// DeviceRow is a sound device, for programs.
type DeviceRow struct {
	Name          string  `json:"name"`
	HostAPI       string  `json:"host_api"`
	Inputs        int     `json:"inputs"`
	Outputs       int     `json:"outputs"`
	SampleRate    float64 `json:"sample_rate_hz"`
	DefaultInput  bool    `json:"default_input"`
	DefaultOutput bool    `json:"default_output"`
}

// Microphone is what the microphone heard of the room, for programs. Levels are
// dBFS.
type Microphone struct {
	SampleRate int      `json:"sample_rate_hz"`
	Latency    *float64 `json:"latency_ms"`
	Floor      float64  `json:"floor_dbfs"`
	Loud       float64  `json:"loud_dbfs"`
	Peak       float64  `json:"peak_dbfs"`
	Clipped    bool     `json:"clipped"`
	Hum        *float64 `json:"hum_hz"`
	HumLevel   *float64 `json:"hum_dbfs"`
	Fan        bool     `json:"fan"`
	Voiced     float64  `json:"voiced_share"`
	Lost       int64    `json:"lost_samples"`
}

// ToneRecord is what came back of what was played, for programs.
type ToneRecord struct {
	Level     float64         `json:"played_dbfs"`
	Echoes    int             `json:"probes"`
	Heard     int             `json:"probes_heard"`
	Leak      *float64        `json:"level_db"`
	Delay     *float64        `json:"delay_ms"`
	Scatter   *float64        `json:"delay_scatter_ms"`
	Over      float64         `json:"over_noise_db"`
	Seconds   float64         `json:"tone_s"`
	Judged    bool            `json:"dropouts_judged"`
	Dropouts  []DropoutRecord `json:"dropouts"`
	Drift     *float64        `json:"clocks_ppm"`
	Lost      int64           `json:"lost_samples"`
	Underruns int64           `json:"underruns"`
	Stated    *float64        `json:"stated_latency_ms"`
}

// DropoutRecord is one Dropout.
type DropoutRecord struct {
	At     float64 `json:"at_s"`
	Length float64 `json:"length_ms"`
}

// TerminalFact is what is known of the terminal.
type TerminalFact struct {
	Screen  bool   `json:"screen"` // output goes to a terminal
	Columns *int   `json:"columns"`
	Rows    *int   `json:"rows"`
	Colours int    `json:"colours"` // 0: none
	Locale  string `json:"locale"`  // "": none is set
	UTF8    bool   `json:"utf8"`
}

// Place is a file or folder in which something is kept.
type Place struct {
	What string `json:"what"` // "folder", "profile", "record" or "class"
	Path string `json:"path"`
	// There tells whether it is there; Mode are its permissions in octal, null where
	// it is not or where the system has no such thing; Writable, whether this user may
	// write it or, where it is not there, make it.
	There    bool    `json:"there"`
	Mode     *string `json:"mode"`
	Writable bool    `json:"writable"`

	others bool
}

// NewPlace describes a place that is there; of a system without permissions in the
// sense of POSIX mode is 0.
func NewPlace(what, path string, mode fs.FileMode, writable bool) Place {
	p := Place{What: what, Path: path, There: true, Writable: writable}
	if mode != 0 {
		text := "0" + octal(mode.Perm())
		p.Mode, p.others = &text, mode.Perm()&0o077 != 0
	}
	return p
}

func octal(m fs.FileMode) string {
	return string([]byte{byte('0' + m>>6&7), byte('0' + m>>3&7), byte('0' + m&7)})
}

// NewDevices are the rows of a list of devices.
func NewDevices(list []device.Info) []DeviceRow {
	rows := make([]DeviceRow, len(list))
	for i, d := range list {
		rows[i] = DeviceRow{d.Name, d.HostAPI, d.Inputs, d.Outputs, d.SampleRate, d.DefaultInput, d.DefaultOutput}
	}
	return rows
}

// Record is the room for programs.
func (r Room) Record() *Microphone {
	m := &Microphone{
		SampleRate: r.Rate, Floor: tenth(r.Noise.Floor), Loud: tenth(r.Noise.Loud), Peak: tenth(r.Peak), Clipped: r.Clipped,
		Fan: r.Noise.Fan, Voiced: hundredth(r.Noise.Voiced), Lost: r.Lost, Latency: ms(r.Latency),
	}
	if r.Noise.Hum != 0 {
		hz, level := r.Noise.Hum, tenth(r.Noise.HumLevel)
		m.Hum, m.HumLevel = &hz, &level
	}
	return m
}

// Record is what came back for programs.
func (s Sounded) Record() *ToneRecord {
	t := &ToneRecord{
		Level: s.Level, Echoes: s.Probes, Heard: s.Heard, Over: tenth(s.Tone.Over), Seconds: hundredth(s.Tone.Seconds),
		Judged: s.Tone.Judged, Dropouts: []DropoutRecord{}, Lost: s.Lost, Underruns: s.Underruns, Stated: ms(s.Latency),
	}
	if s.Echo.Heard {
		leak, delay, scatter := tenth(s.Echo.Level), tenth(1000*s.Echo.Delay), tenth(1000*s.Scatter)
		t.Leak, t.Delay, t.Scatter = &leak, &delay, &scatter
	}
	if s.Tone.Judged {
		drift := tenth(s.Tone.Drift)
		t.Drift = &drift
	}
	for _, d := range s.Tone.Dropouts {
		t.Dropouts = append(t.Dropouts, DropoutRecord{hundredth(d.At), tenth(1000 * d.Length)})
	}
	return t
}

// ms is a latency that a driver states in milliseconds; nil where it states none.
func ms(d time.Duration) *float64 {
	if d <= 0 {
		return nil
	}
	v := tenth(1000 * d.Seconds())
	return &v
}
