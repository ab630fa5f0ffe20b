package session

import (
	"context"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/theory"
)

// Counting says how a line is counted in.
type Counting int8

// By clicks, or by a voice that sings do on every beat, in the singer's octave.
const (
	ClickCount Counting = iota
	VoiceCount
)

// Band is a band that plays while a line is sung. Of an Echo it plays under the call and
// the answer.
type Band struct {
	Groove *synth.Groove
	// Chords are the line's, its first bar counted as a whole one. Of an Echo they come
	// again under the answer.
	Chords []compose.Placed
	Ready  []synth.Changed // in their place: what is played, to the end
	Voice  float64         // dBFS, of the singer at ease; 0 where it was not measured
}

// swings reports whether a line in a meter is swung.
func (b *Band) swings(m theory.Meter) bool { return b.Groove.Swing && m.Valid() && !m.Compound() }

// inTime reports whether the line is sung on a beat that is heard.
func (l *Line) inTime() bool {
	return !l.Free && (!l.Echo || l.Click || l.Band != nil)
}

// Voiced are chords as a band plays them, in beats of so many quarter notes.
func Voiced(chords []compose.Placed, beat float64) (out []synth.Changed) {
	var romans []theory.Roman
	for _, c := range chords {
		if c.Roman != nil {
			romans = append(romans, *c.Roman)
		}
	}
	voices := compose.Voiced(romans)
	for _, c := range chords {
		changed := synth.Changed{At: c.At / beat}
		if c.Roman != nil {
			changed.Tones, voices = voices[0][:], voices[1:]
		}
		out = append(out, changed)
	}
	return out
}

// Accompanied is a line with what keeps its time: counted in or not, with a band or without,
// with a beat that goes on clicking or does not.
type Accompanied struct {
	Keyboard synth.Keyboard
	Score    *theory.Score // as it sounds
	Tuning   theory.Tuning
	Quarter  float64 // seconds
	Count    bool
	Counting Counting
	Click    bool
	Band     *Band
	Plays    bool         // the line is played
	Model    *synth.Model // that sings it, if one does
	Echo     bool         // and then left to be sung back
	Gap      float64
	guard    float64 // seconds before the answer in which no voice of ours sounds
}

// Sound lays it out in time: when, in seconds, the line begins, and, of an Echo, when it is
// to be sung back; else both are the same.
func (a *Accompanied) Sound() (sound *synth.Band, begins, answer float64) {
	s, k := a.Score, a.Keyboard
	beat, bar := BeatOf(*s)*a.Quarter, barOf(s)*a.Quarter
	if a.Count {
		_, begins = countIn(s, a.Quarter)
	}
	into := 0.0 // of the first bar
	if s.Start.Num > 0 {
		into = bar - s.Start.Float()*a.Quarter
	}
	if !a.Count && a.Band != nil {
		begins = into
	}
	length := s.Length().Float() * a.Quarter
	bars := wholeBars(into+length, bar)
	answer = begins
	calls := 0
	if a.Echo {
		calls = wholeBars(into+length+max(a.Gap, leastGap), bar)
		answer += float64(calls) * bar
		bars += calls
	}
	var line []synth.Timed
	if a.Plays {
		line = synth.Line(*s, a.Tuning, a.Quarter)
	}
	switch {
	case a.Band != nil:
		for i := range line {
			line[i].Start += into
		}
		sound = (&synth.Backing{
			Keyboard: k, Groove: a.Band.Groove, Key: s.Key, Tuning: a.Tuning, Tempo: 60 / beat,
			Changes: a.changes(bars, calls), Beats: a.beats(bars), Line: line, Model: a.Model,
		}).Band()
		sound.After(begins - into)
	case a.Model != nil && line != nil:
		m := *a.Model
		m.SampleRate, m.Level = k.SampleRate, k.Level
		sung, lead := synth.Together([]synth.Model{m}, [][]synth.Timed{line}, []float64{0})
		if begins < lead { // its first consonant comes before
			answer += lead - begins
			begins = lead
		}
		sound = k.Silence(answer + length)
		sound.Add(begins-lead, sung)
	default:
		sound = k.Silence(answer + length)
		if line != nil {
			sound.Add(begins, k.Render(synth.PhraseOf(line)))
		}
	}
	a.mark(sound, begins, answer+length)
	return sound, begins, answer
}

// changes are the chords of the band in so many bars, of which so many are a call, and the
// chord of the tonic, which is held behind them.
func (a *Accompanied) changes(bars, calls int) []synth.Changed {
	if a.Band.Ready != nil {
		return a.Band.Ready
	}
	bar, key := barOf(a.Score), a.Score.Key
	for _, c := range a.Score.Changes {
		key = c.Key
	}
	chords := append([]compose.Placed(nil), a.Band.Chords...)
	if a.Echo { // they come again under the answer
		for _, c := range a.Band.Chords {
			chords = append(chords, compose.Placed{At: c.At + float64(calls)*bar, Roman: c.Roman})
		}
	}
	chords = append(chords, compose.Placed{At: float64(bars) * bar, Roman: &compose.Turn(key)[0]})
	return Voiced(chords, BeatOf(*a.Score))
}

// beats is how many beats a band plays in so many bars, the last chord with them.
func (a *Accompanied) beats(bars int) float64 {
	if a.Band.Ready == nil {
		bars++
	}
	return float64(bars * a.Band.Groove.Beats())
}

// mark adds what counts a line in that begins at so many seconds, and goes on clicking until
// it ends.
func (a *Accompanied) mark(sound *synth.Band, begins, ends float64) {
	s, k := a.Score, a.Keyboard
	beat := BeatOf(*s) * a.Quarter
	var beats []synth.Beat
	free := 0
	if a.Count {
		beats, _ = countIn(s, a.Quarter)
	}
	for i, b := range beats {
		seconds := min(0.6*beat, begins-b.At-a.guard)
		if a.Counting != VoiceCount || seconds < shortestCount {
			break // a click counts it
		}
		level := k.Level
		if !b.Strong {
			level -= 3
		}
		sound.Add(b.At, synth.SungBeat(k.SampleRate, a.Tuning.Hz(tonicOf(*s)), seconds, level))
		free = i + 1
	}
	beats = beats[free:]
	if a.Click {
		beats = append(beats, beatsFrom(*s, a.Quarter, 0, (ends-begins)/a.Quarter, begins)...)
	}
	if len(beats) > 0 {
		sound.Add(0, k.Clicks(beats, beats[len(beats)-1].At+0.1))
	}
}

// shortestCount is how long, in seconds, a sung count is at least, and leastGap the silence
// before an answer.
const (
	shortestCount = 0.12
	leastGap      = 0.4
)

// wholeBars is how many bars so many seconds need.
func wholeBars(seconds, bar float64) int {
	n := int(seconds / bar)
	if float64(n)*bar < seconds-1e-6 {
		n++
	}
	return max(n, 1)
}

// from is a sound from a sample on.
type from struct {
	filler
	at int64
}

func (f from) Fill(dst []float64, at int64) { f.filler.Fill(dst, f.at+at) }

// together has a line sung on a beat, with a band or clicks that go on: counted in, of an Echo
// called first, and answered where the bars say. At a live source the sound goes on as long
// as the samples that are heard, so that nothing between call and answer is late.
func (l *Line) together(ctx context.Context, t *Turn, sung *LineSung, ear *listen.Ear, live bool) (err error) {
	p := &sung.LinePrompted
	t.keyboard.Level = t.Level()
	score := p.score()
	a := Accompanied{
		Keyboard: t.keyboard, Score: &score, Tuning: l.Tuning, Quarter: p.Quarter, Count: true, Counting: l.Counting,
		Click: l.Click, Band: l.Band, Model: t.Model, Plays: p.Echo, Echo: p.Echo, Gap: l.Gap, guard: lead + guard + t.Delay,
	}
	sound, _, answer := a.Sound()
	beats, _ := countIn(a.Score, a.Quarter)
	t.Emit(CountIn{Beats: len(beats), Tempo: p.Tempo, Sung: l.Counting == VoiceCount, Call: p.Echo})
	chords := sound.Tones()
	rate := float64(t.out.SampleRate())
	t.seconds += answer - lead
	open := true
	var stop func() error
	if live {
		stop = t.begin(ctx, sound, chords, ear)
		n := int64((answer - lead) * float64(ear.Source().SampleRate()))
		if err = ear.Pass(ctx, n, n); err == nil && len(chords) > 0 {
			sung.Own = ear.Own()
			open = !t.overheard(sung.Own, l.Band.Voice)
		}
	} else {
		before := make([]float64, int((answer-lead)*rate))
		sound.Fill(before, 0)
		if err = t.write(ctx, before); err == nil {
			stop = t.begin(ctx, from{sound, int64(len(before))}, chords, ear)
		}
	}
	if err == nil && open {
		err = l.hear(ctx, t, sung, ear, live, nil)
	}
	if !open {
		sung.Take = exercise.PhraseTake{SampleRate: ear.Source().SampleRate()}
	}
	sung.Masked = !open
	if stop != nil {
		if e := stop(); err == nil {
			err = e
		}
	}
	return err
}

// countIn counts one bar, or two where the bar has at most two beats, and what
// an incomplete first bar lacks. The window opens lead seconds before the line
// begins.
func (l Line) countIn(ctx context.Context, t *Turn, p LinePrompted) error {
	t.keyboard.Level = t.Level()
	a := Accompanied{
		Keyboard: t.keyboard, Score: &p.Melody.Score, Tuning: l.Tuning, Quarter: p.Quarter, Count: true, Counting: l.Counting,
		guard: lead + guard + t.Delay,
	}
	sound, seconds, _ := a.Sound()
	beats, _ := countIn(a.Score, a.Quarter)
	t.Emit(CountIn{Beats: len(beats), Tempo: p.Tempo, Sung: l.Counting == VoiceCount})
	t.seconds += seconds
	samples := make([]float64, int((seconds-lead)*float64(t.out.SampleRate())+0.5))
	sound.Fill(samples, 0)
	return t.write(ctx, samples)
}

// countIn returns the beats that are counted before a line, and how long that takes:
// see Line.countIn.
func countIn(s *theory.Score, quarter float64) (beats []synth.Beat, seconds float64) {
	meter := s.Meter
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	bar := meter.Bar().Float()
	count := bar
	if meter.Pulses() <= 2 {
		count = 2 * bar
	}
	if start := s.Start; start.Num > 0 {
		count += bar - start.Float()
	}
	pulse := meter.Pulse().Float()
	for at := 0.0; at < count-1e-9; at += pulse {
		beats = append(beats, accented(meter, at, at*quarter))
	}
	return beats, count * quarter
}

// accented is the beat at a place in quarter notes from a bar line, at so many seconds.
func accented(m theory.Meter, at, seconds float64) synth.Beat {
	bar := m.Bar().Float()
	b := synth.Beat{At: seconds, Strong: onBar(at, bar)}
	b.Half = m.Pulses() == 4 && !b.Strong && onBar(at, bar/2)
	return b
}

// Samples is the whole sound of a guide.
func (a *Accompanied) Samples() []float64 {
	sound, _, _ := a.Sound()
	out := make([]float64, sound.Samples())
	sound.Fill(out, 0)
	return out
}
