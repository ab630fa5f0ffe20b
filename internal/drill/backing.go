package drill

import (
	"cmp"
	"fmt"
	"strings"

	"singback/exercise/compose"
	"singback/internal/plain"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// How a line is counted in.
const (
	countClick = "click"
	countVoice = "voice"
	countNone  = "none"
)

// CountIns are the words of the option count-in.
var CountIns = []string{countClick, countVoice, countNone}

// AddCountIn defines how it is counted in.
func AddCountIn(f Flags, p *string, value string) {
	f.StringVar(p, "count-in", value, "`HOW` a bar is counted in: click, voice (do is sung on each beat), none")
}

// ReadCountIn reads the option count-in.
func ReadCountIn(word string) (how session.Counting, count bool, err error) {
	switch word {
	case countClick, countVoice:
		if word == countVoice {
			how = session.VoiceCount
		}
		return how, true, nil
	case countNone, "":
		return how, false, nil
	}
	return how, false, wrongf("--count-in: %q: want click, voice or none", plain.Short(word))
}

// checkCount finds mistakes in how a line is counted in. None of a series is the singer's
// own tempo.
func (o *Series) checkCount() error {
	_, count, err := ReadCountIn(cmp.Or(o.CountIn, countClick))
	said := o.Music.said("count-in")
	switch {
	case err != nil:
		return err
	case o.Echo && said && !o.Click && o.Backing == "":
		return wrongf("--count-in: no beat is heard: give --click or --backing")
	case !count && (o.Click || o.Backing != ""):
		return wrongf("--count-in none: nobody would know when to begin with the beat; want click or voice")
	case o.Free && said && count:
		return wrongf("--count-in: there is no beat with --free")
	}
	o.Free = o.Free || !count && !o.Echo
	return nil
}

// BackingHelp says what the option backing is.
func BackingHelp() string {
	return "a band plays this `GROOVE` while you sing: " + strings.Join(synth.GrooveNames(), ", ")
}

// ReadGroove reads the option backing.
func ReadGroove(name string) (*synth.Groove, error) {
	g, err := synth.ParseGroove(name)
	if err != nil {
		return g, wrong(fmt.Errorf("--backing: %w", err))
	}
	return g, nil
}

// GrooveFor reads the option backing for a line: the groove, or the one like it that is in
// the line's meter.
func GrooveFor(name string, s *theory.Score) (*synth.Groove, error) {
	g, err := ReadGroove(name)
	if err != nil {
		return g, err
	}
	meter := s.Meter
	if !meter.Valid() {
		meter = theory.Meter{Beats: 4, Unit: 4}
	}
	suits, ok := g.For(meter)
	if !ok {
		return g, wrongf("--backing: no groove is in %s, in which the melody%s is", meter, named(*s))
	}
	for _, c := range s.Changes {
		if c.Meter.Valid() && c.Meter != s.Meter {
			return g, wrongf("--backing: the meter of the melody%s changes, and no groove does", named(*s))
		}
	}
	return suits, nil
}

// chords are those that a band repeats: of --vamp, or else the turn of the key.
func (o *Company) chords(k theory.Key) ([]theory.Roman, error) {
	switch {
	case o.Vamp == "" && k.Mode > theory.Minor:
		return nil, wrongf("--backing: its chords are those of major and minor; say others for %s with --vamp", k.ASCII())
	case o.Vamp == "":
		return compose.Turn(k), nil
	}
	chords, err := theory.ParseProgression(o.Vamp, k)
	if err != nil {
		return nil, wrong(fmt.Errorf("--vamp: %w", err))
	}
	if len(chords) > compose.MaxDictation {
		return nil, wrongf("--vamp: %d chords are too many: want at most %d", len(chords), compose.MaxDictation)
	}
	return chords, nil
}

// band has a band play chords that repeat, a bar each, at a tempo; 0: the groove's. What it
// plays is made once for a key and a level.
func (o *Company) band(u *session.Under, key theory.Key, tempo float64) error {
	g, err := ReadGroove(o.Backing)
	if err == nil {
		_, err = o.chords(key)
	}
	var last synth.Keyboard
	var of theory.Key
	var band *synth.Band
	u.Band = func(kb synth.Keyboard, k theory.Key, t theory.Tuning) (*synth.Band, error) {
		if band != nil && kb == last && k == of {
			return band, nil
		}
		chords, err := o.chords(k)
		if err != nil {
			return nil, err
		}
		b := synth.Backing{Keyboard: kb, Groove: g, Key: k, Tuning: t, Tempo: cmp.Or(tempo, g.Tempo), Repeats: true}
		for i, v := range compose.Voiced(chords) {
			b.Changes = append(b.Changes, synth.Changed{At: float64(i * g.Beats()), Tones: v[:]})
		}
		b.Beats = float64(len(chords) * g.Beats())
		last, of, band = kb, k, b.Band()
		return band, nil
	}
	return err
}

// inBars puts phrases that are sung back on a beat into bars, and to the tempo of the groove,
// where none was asked for.
func (o *Series) inBars(melodies []compose.SightMelody) error {
	if !o.Echo || !o.Click && o.Backing == "" {
		return nil
	}
	for i := range melodies {
		melodies[i].PutInBars()
		if o.Backing != "" && o.Given == nil {
			g, err := ReadGroove(o.Backing)
			if err != nil {
				return err
			}
			melodies[i].Score.Tempo = g.Tempo
		}
	}
	return nil
}

// bands are the bands of lines: each goes on with the turn, or the chords of --vamp, where
// the last one left it. Under says whether headphones are worn.
func (o *Series) bands(melodies []compose.SightMelody, key theory.Key) ([]*session.Band, *session.Under, error) {
	u, err := o.under(o.Music, key, o.Tempo)
	if err != nil {
		return nil, nil, err
	}
	var out []*session.Band
	after := 0
	for i := range melodies {
		s := melodies[i].Score
		suits, err := GrooveFor(o.Backing, &s)
		var chords []theory.Roman
		if o.Vamp != "" {
			s.Symbols = nil
		}
		if err == nil && s.Symbols == nil {
			chords, err = o.chords(s.Key)
		}
		if err != nil {
			return nil, nil, err
		}
		b := &session.Band{Groove: suits, Voice: u.Voice, Chords: compose.Accompany(&s, after)}
		if o.Vamp != "" {
			for i := range b.Chords {
				b.Chords[i].Roman = &chords[(after+i)%len(chords)]
			}
		}
		after += len(b.Chords)
		out = append(out, b)
	}
	return out, u, nil
}

// Refuses says why a plan is not for somebody who sings into a microphone that hears what
// sounds; nil where it is. Heard tells that it sounds from a loudspeaker.
func (p *Plan) Refuses(by Kind, heard bool) error {
	if p.band == nil || p.band.Headphones || by != ByMicrophone || !heard {
		return nil
	}
	return wrongf("--backing: the microphone would hear the band: wear headphones and say --headphones, or measure that it does not hear it (singback calibrate)")
}
