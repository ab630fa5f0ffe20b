package engine

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"singback/exercise/compose"
	"singback/internal/engrave"
	"singback/internal/report"
	"singback/internal/synth"
	"singback/theory"
)

// looked is what was looked up: what is shown of it, and how it sounds.
type looked struct {
	shown lookReply
	sound synth.Phrase

	loudness   float64 // LUFS
	instrument synth.Instrument
	line       []synth.Timed
	model      *synth.Model // that sings the line; nil: sound is played
}

// lookReply is a thing to look up, as a screen shows it.
type lookReply struct {
	Title    string        `json:"title"`
	SVG      string        `json:"svg"`
	Text     string        `json:"text"`
	Record   any           `json:"record"` // as the command of the same name prints it with --format json
	Sections []lookSection `json:"sections"`
}

type lookSection struct {
	Heading string     `json:"heading"`
	Head    []string   `json:"head"`
	Rows    [][]string `json:"rows"`
}

// look looks up a melody, a key or chords.
func (e *Engine) look(text string, width int) (looked, error) {
	o, err := e.lookAddress(text)
	if err != nil {
		return looked{}, err
	}
	var l looked
	switch o.command {
	case "melody":
		l, err = o.melody(width)
	case "key":
		l, err = o.key()
	default:
		l, err = o.chords()
	}
	l.loudness, l.instrument = o.loudness, o.instrument
	return l, err
}

// play sounds what was looked up.
func (e *Engine) play(ctx context.Context, text string) (any, error) {
	l, err := e.look(text, 0)
	if err != nil {
		return nil, err
	}
	e.mu.Lock()
	sound := e.sound
	e.mu.Unlock()
	if sound.Speaker == nil {
		return nil, errNoSpeaker
	}
	done := make(chan error, 1)
	e.Begin(func(ctx context.Context) {
		keyboard := synth.Keyboard{SampleRate: sound.Speaker.SampleRate(), Level: l.loudness, Instrument: l.instrument}
		var samples []float64
		if l.model == nil {
			samples = keyboard.Render(l.sound)
		} else {
			l.model.SampleRate, l.model.Level = keyboard.SampleRate, l.loudness
			samples = l.model.Render(l.line)
		}
		err := sound.Speaker.Write(ctx, samples)
		if err == nil {
			err = sound.Speaker.Drain(ctx)
		}
		done <- err
	})
	if err := <-done; err != nil && !errors.Is(err, context.Canceled) {
		return nil, err
	}
	return true, nil
}

// melody makes a line to be sung at sight.
func (o *lookOptions) melody(width int) (looked, error) {
	order := compose.MelodyOrder{Level: o.level, Count: 1, Seed: o.seed}
	m := &o.music
	names := m.Names != "none"
	naming := theory.Movable
	var err error
	if names {
		if naming, err = theory.ParseNaming(m.Names); err != nil {
			return looked{}, fmt.Errorf("--names: %w; or none", err)
		}
	}
	if m.Key != "" {
		k, err := m.ReadKey("--key", nil)
		if err != nil {
			return looked{}, err
		}
		order.Key = &k
	}
	working, _, known, err := m.Reach()
	if err != nil {
		return looked{}, err
	}
	if known {
		order.Range = working
	}
	tuning, err := m.ReadTuning()
	if err != nil {
		return looked{}, err
	}
	made, err := compose.NewMelodies(order)
	if err != nil {
		return looked{}, err
	}
	score := made[0].Score
	view := engrave.View{Width: units(width)}
	if c, ok := engrave.VoiceClef(m.Voice); ok {
		view.Clef = &c
	}
	if names {
		view.Labels = score.Labels(naming, false)
	}
	out := looked{line: synth.Line(score, tuning, 60/72.0)}
	out.sound = synth.PhraseOf(out.line)
	if out.model, err = m.Model(o.heard, naming, synth.Alto); err != nil {
		return out, err
	}
	out.shown.Title = fmt.Sprintf("A melody in %s, level %d", score.Key, o.level)
	out.shown.Text = fmt.Sprintf("New at this level: %s.", report.LevelText(o.level))
	out.shown.Record = report.NewMadeMelody(score, made[0], naming, names)
	out.shown.Sections = []lookSection{}
	out.shown.SVG, err = engrave.Printed(score, view)
	return out, err
}

// key looks up a key.
func (o *lookOptions) key() (looked, error) {
	item, naming, err := o.music.Base(nil)
	if err != nil {
		return looked{}, err
	}
	item.Register.Range = theory.Range{} // a scale rises, whoever sings
	degrees := item.Key.ScaleDegrees()
	list := degrees[:]
	if item.Key.Mode == theory.Minor {
		list = append(list, theory.Degree{Step: 6}, theory.Degree{Step: 7})
	}
	style := report.Style{Names: naming}
	table := report.NewKeyTable(item, list, naming)
	out := looked{sound: synth.ByScale.Phrase(item.Key, item.Tuning, item.Register.TonicOctave)}
	out.shown.Title, out.shown.Record = style.Key(item.Key), table
	section := lookSection{Heading: "Degrees", Head: []string{"degree", "name", "note", "number", "cents", "hertz"}, Rows: [][]string{}}
	for _, row := range table.Rows {
		section.Rows = append(section.Rows, []string{
			row.Degree.String(), style.Degree(item.Key, row.Degree), style.Pitch(row.Pitch), theory.Numbers.Name(item.Key, row.Degree),
			fmt.Sprintf("%.1f", row.Cents), fmt.Sprintf("%.2f", row.Hz),
		})
	}
	out.shown.Sections = []lookSection{section}
	out.shown.Text = fmt.Sprintf("%s, %s.", signature(item.Key), report.Tuning(item.Tuning))
	return out, nil
}

// signature says the signature of a key.
func signature(k theory.Key) string {
	switch n := k.Signature(); {
	case n > 0:
		return report.Many(n, "sharp")
	case n < 0:
		return report.Many(-n, "flat")
	}
	return "No sharps and no flats"
}

// chords looks up a progression, set in four parts.
func (o *lookOptions) chords() (looked, error) {
	m := &o.music
	key, err := theory.ParseKey(m.Key)
	if err != nil {
		return looked{}, fmt.Errorf("--key: %w", err)
	}
	tuning, err := m.ReadTuning()
	if err != nil {
		return looked{}, err
	}
	texture := theory.KeyboardTexture()
	switch o.texture {
	case "keyboard":
	case "choir":
		texture = theory.ChoirTexture()
	default:
		return looked{}, fmt.Errorf("--texture: %.40q: want keyboard or choir", o.texture)
	}
	chords := o.progression
	p, err := theory.ReadProgression(chords, key)
	if err != nil {
		return looked{}, err
	}
	if len(p) > mostChords {
		return looked{}, fmt.Errorf("%d chords are too many: want at most %d", len(p), mostChords)
	}
	voicing, cost, licences, err := texture.VoiceFreely(p)
	if err != nil {
		return looked{}, err
	}
	style := report.Style{}
	out := looked{sound: synth.Progression(key, tuning, voicing)}
	out.shown.Title = style.Key(key) + ": " + chords
	out.shown.Record = report.NewVoicing(p, voicing, cost, licences, o.texture, tuning)
	section := lookSection{Heading: "Chords", Head: []string{"numeral", "chord", "bass", "notes, from below"}, Rows: [][]string{}}
	for i, r := range p {
		chord := report.NewChord(r)
		var notes []string
		for _, n := range voicing[i] {
			notes = append(notes, style.Pitch(n))
		}
		section.Rows = append(section.Rows, []string{style.Roman(r), chord.Chord, notes[0], strings.Join(notes, " ")})
	}
	out.shown.Sections = []lookSection{section}
	if len(licences) > 0 {
		free := lookSection{Heading: "Licences", Head: []string{"from", "to", "what no voicing avoids"}, Rows: [][]string{}}
		for _, l := range licences {
			free.Rows = append(free.Rows, []string{style.Roman(p[l.From-1]), style.Roman(p[l.To-1]), l.Rule})
		}
		out.shown.Sections = append(out.shown.Sections, free)
	}
	out.shown.Sections = append(out.shown.Sections, cadenceNames(key))
	return out, nil
}

// mostChords is how many chords a progression may have.
const mostChords = 64

// cadenceNames lists the progressions that have names.
func cadenceNames(k theory.Key) lookSection {
	s := lookSection{Heading: "Progressions with a name", Head: []string{"name", "chords"}, Rows: [][]string{}}
	for _, c := range theory.Cadences() {
		s.Rows = append(s.Rows, []string{c.Name, chordsOf(c, k)})
	}
	return s
}

// chordsOf are the chords of a cadence in a key of that mode.
func chordsOf(c theory.Cadence, k theory.Key) string {
	if k.Mode == theory.Minor {
		return c.Minor
	}
	return c.Major
}
