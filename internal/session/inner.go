package session

import (
	"context"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// Silence is a time in beats between what sets the key and the answer, in which the
// singer keeps do in mind. The zero Silence is none.
type Silence struct {
	Beats int
	Tempo float64 // beats a minute
	Click bool    // the beats are clicked
}

// Seconds is how long it lasts.
func (s Silence) Seconds() float64 {
	if s.Beats == 0 {
		return 0
	}
	return float64(s.Beats) * 60 / s.Tempo
}

// Modulating tells that a passage leads from the key that was set to another one. It
// comes before the sound.
type Modulating struct {
	Index  int
	Tuning theory.Tuning
	theory.Modulation
}

func (Modulating) event() {}

// lead plays the passage that leads to the key of the item.
func (d *Degree) lead(ctx context.Context, t *Turn) error {
	t.Emit(Modulating{t.Index, d.Item.Tuning, *d.Away})
	var p synth.Phrase
	for i, s := range synth.Progression(d.Away.From, d.Item.Tuning, d.Away.Voices) {
		if chord := i / len(d.Away.Voices[0]); chord >= d.Away.Home { // in the tuning of the key that it is in
			s.Hz = d.Item.Tuning.HzIn(d.Away.To, d.Away.Voices[chord][i%len(d.Away.Voices[0])])
		}
		p = append(p, s)
	}
	return t.Play(ctx, p)
}

// silence waits until the beats have passed, and returns how many seconds of it are left
// to be waited at the source. Clicks are sounded until shortly before the window opens.
func (t *Turn) silence(ctx context.Context, s Silence) (left float64, err error) {
	if s.Beats == 0 {
		return t.Think, nil
	}
	seconds := s.Seconds()
	if !s.Click {
		return max(0, seconds-guard), nil
	}
	t.Emit(Waiting{s})
	var beats []synth.Beat
	for i := range s.Beats {
		beats = append(beats, synth.Beat{At: float64(i) * 60 / s.Tempo, Strong: i == 0})
	}
	t.seconds += seconds
	return 0, t.write(ctx, t.clicks(beats, max(0.1, seconds-guard-t.Delay)))
}

// longestSilence is the longest stretch of silent notes, in quarter notes.
func (l *Line) longestSilence() float64 {
	longest, now := 0.0, 0.0
	for i, n := range l.Melody.Score.Notes {
		if i >= len(l.Silent) || !l.Silent[i] {
			now = 0
			continue
		}
		now += n.Length.Float()
		longest = max(longest, now)
	}
	return longest
}

// gradeGaps grades a line with silent bars.
func (l *Line) gradeGaps(sung *LineSung) (err error) {
	score := sung.score()
	var beat grade.Beat
	if sung.HasDue {
		beat = grade.Beat{Start: sung.Due, Unit: sung.Quarter}
	}
	if sung.Model, err = grade.NewLine(sung.ToSing(), l.Tuning); err != nil {
		return err
	}
	g, gaps, err := grade.OfSilent(&score, l.Silent, l.Tuning, &sung.Model, &sung.Sung, l.Rules, beat)
	if err == nil {
		sung.Grade, sung.Gaps = *g, gaps
	}
	return err
}

// above has the line sung while something sounds. Chords that repeat go on by the bar from
// the line's first bar on.
func (l *Line) above(ctx context.Context, t *Turn, u synth.Under, sung *LineSung, ear *listen.Ear, live bool) (err error) {
	p, score := &sung.LinePrompted, &l.Melody.Score
	u.Seconds = barOf(score) * p.Quarter
	think, counted := hush, !p.Free && !p.Echo
	if p.Echo {
		think = l.Gap
	}
	open := false
	sung.Own, err = t.beneath(ctx, going{u, u.Chords, u.Round(), u.Level}, ear, live, think, func() error {
		if open = true; counted {
			return nil
		}
		return l.hear(ctx, t, sung, ear, live, nil)
	})
	if err == nil && open && counted {
		if err = l.counted(ctx, t, *p, ear, live); err == nil {
			u.After = lead + score.Start.Float()*p.Quarter
			stop := t.begin(ctx, u, u.Chords, ear)
			ear.Recall(sung.Own)
			err = l.hear(ctx, t, sung, ear, live, nil)
			if e := stop(); err == nil {
				err = e
			}
		}
	}
	if !open {
		sung.Take = exercise.PhraseTake{SampleRate: ear.Source().SampleRate()}
	}
	sung.Masked = !open
	return err
}

// barOf is the length of a bar of a score in quarter notes.
func barOf(s *theory.Score) float64 {
	if s.Meter.Valid() {
		return s.Meter.Bar().Float()
	}
	return 4
}

// masked reports whether what was sung was not loud enough over what sounded meanwhile.
func (s *LineSung) masked() bool {
	if s.Own == 0 || !s.Heard() {
		return false
	}
	var levels []float64
	for _, n := range s.Sung.Notes {
		levels = append(levels, n.Level)
	}
	return pitch.Median(levels) < s.Own+exercise.OwnMargin
}
