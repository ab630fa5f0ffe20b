package synth

import (
	"math"

	"singback/theory"
)

// Backing is what a band is to play: chords in a groove.
type Backing struct {
	Keyboard
	Groove  *Groove
	Key     theory.Key
	Tuning  theory.Tuning
	Tempo   float64 // beats (Groove.Meter.Pulse) a minute
	Changes []Changed
	Pickup  float64 // beats before the first full bar
	Beats   float64 // how long it lasts, or until it repeats
	Repeats bool    // else it ends with the last chord, which is held
	// Line is played over it, in seconds from where the band begins, or sung by Model, if
	// there is one; none: nothing is.
	Line  []Timed
	Model *Model
}

// Changed is a chord that a band comes to.
type Changed struct {
	At    float64        // beats from the start
	Tones []theory.Pitch // from the bass up; none: nobody plays a chord
}

// Band is a band that plays: its every sound, made once, and when it comes. The time of
// each is worked out from the start and rounded to a sample by itself, so that nothing
// drifts however long it plays, and no piece of sound is joined to another.
type Band struct {
	rate  int
	beat  float64 // seconds
	round float64 // beats until it repeats; 0: it does not
	after float64 // seconds until it begins
	hits  []hit
	tones [][]float64
	beats float64
}

// hit is a sound at a place.
type hit struct {
	at    float64 // beats
	sound []float64
}

// How loud the instruments of a band are beside one note of the chords, in decibels: the
// bass and a line over it lie over them, percussion is light (by ear, and as
// measured: see TestBandLanes).
const (
	bassGain = 2.0
	lineGain = 6.0
	softly   = -7.0 // of a stroke that is o
)

// Band makes the sounds. Together they are as loud as Level says, by ITU-R BS.1770, with
// no sample over the ceiling.
func (b *Backing) Band() *Band {
	band := &Band{rate: b.SampleRate, beat: 60 / b.Tempo, beats: b.Beats}
	if b.Repeats {
		band.round = b.Beats
	}
	made := map[[3]float64][]float64{}
	b.play(band, made)
	line := PhraseOf(b.Line)
	if b.Model != nil && line != nil { // as loud as it were played
		m := *b.Model
		m.SampleRate = b.SampleRate
		sung := m.sing(b.Line, modelLead)
		scale(sung, math.Sqrt(power(b.plain(line, fromDB(lineGain)), b.SampleRate)/power(sung, b.SampleRate)))
		made[[3]float64{-1}] = sung
		band.hits = append(band.hits, hit{-modelLead / band.beat, sung})
		line = nil
	}
	for i, s := range line {
		at := s.Start
		s.Start = 0
		sound := b.plain(Phrase{s}, fromDB(lineGain))
		made[[3]float64{-1, float64(i)}] = sound
		band.hits = append(band.hits, hit{at / band.beat, sound})
	}
	whole := make([]float64, band.Samples())
	band.Fill(whole, 0)
	gain := Gain(whole, b.SampleRate, b.Level)
	for _, sound := range made {
		scale(sound, gain)
	}
	return band
}

// play writes what the groove has into the band. Sounds that are alike are made once.
func (b *Backing) play(band *Band, made map[[3]float64][]float64) {
	bar := float64(b.Groove.Beats())
	end := b.Beats
	if !b.Repeats && len(b.Changes) > 0 { // the last chord is struck and held
		end = max(b.Changes[len(b.Changes)-1].At, b.Beats-bar)
	}
	for lane := range lanes {
		strokes := b.strokes(lane, end)
		for i, s := range strokes {
			next := b.Beats
			if i+1 < len(strokes) {
				next = strokes[i+1].at
			}
			key := [3]float64{float64(lane), float64(s.sign)}
			var tones []float64
			if lane >= bassLane {
				if tones = b.tonesAt(s.at, lane, s.sign); len(tones) == 0 {
					continue
				}
				key[1] = math.Round((next - s.at) * 960)
				for i, hz := range tones {
					key[2] += hz * float64(i+1)
				}
			}
			sound := made[key]
			if sound == nil {
				if lane >= bassLane {
					sound = b.struck(tones, lane, (next-s.at)*band.beat)
					band.tones = append(band.tones, tones)
				} else {
					sound = drum(lane, s.sign, b.SampleRate)
				}
				made[key] = sound
			}
			band.hits = append(band.hits, hit{s.at, sound})
		}
	}
}

// stroke is one of an instrument.
type stroke struct {
	at   float64 // beats
	sign byte
}

// near is how far apart, in beats, two places are that are the same.
const near = 1e-9

// strokes are those of a lane, to the end in beats. Bass and chords are struck, too, where a
// chord comes and the groove has no stroke; but the chords may leave out the first beat of a
// bar, where the bass is heard alone.
func (b *Backing) strokes(lane int, end float64) (out []stroke) {
	signs := b.Groove.lanes[lane]
	bar := float64(b.Groove.Beats())
	for start := b.Pickup - bar; start < end-near; start += bar {
		for step := range len(signs) {
			at, next := start+b.Groove.at(step, len(signs), b.Tempo), start+b.Groove.at(step+1, len(signs), b.Tempo)
			struck := signs[step] != '.'
			if struck && at > -near && at < end-near {
				out = append(out, stroke{at, signs[step]})
			}
			for i := range b.Changes {
				c := b.Changes[i].At
				if lane < bassLane || c < at-near || c > next-near || c > end-near || c < at+near && (struck || lane == chordLane && step == 0) {
					continue
				}
				out = append(out, stroke{c, 'r'})
			}
		}
	}
	if end < b.Beats && lane != snareLane && lane != hatLane {
		out = append(out, stroke{end, 'x'})
	}
	return out
}

// chordAt is the index of the chord that sounds at a place.
func (b *Backing) chordAt(at float64) (i int) {
	for i+1 < len(b.Changes) && b.Changes[i+1].At <= at+near {
		i++
	}
	return i
}

// tonesAt are the tones in hertz that the bass, or the hand over it, has at a place.
func (b *Backing) tonesAt(at float64, lane int, sign byte) (out []float64) {
	if len(b.Changes) == 0 {
		return nil
	}
	i := b.chordAt(at)
	tones := b.Changes[i].Tones
	if len(tones) == 0 {
		return nil
	}
	if lane == bassLane {
		tones = []theory.Pitch{b.bass(i, sign)}
	} else {
		tones = tones[1:]
	}
	for _, p := range tones {
		out = append(out, b.Tuning.HzIn(b.Key, p))
	}
	return out
}

// bass is what a sign has the bass play under the chord of an index.
func (b *Backing) bass(i int, sign byte) theory.Pitch {
	tones := b.Changes[i].Tones
	bass := lowered(tones[0])
	switch sign {
	case 't':
		return above(tones, bass, 3, 4)
	case 'l':
		next := i + 1
		if next == len(b.Changes) && b.Repeats {
			next = 0
		}
		if next < len(b.Changes) && next != i && len(b.Changes[next].Tones) > 0 {
			return b.leading(bass, lowered(b.Changes[next].Tones[0]))
		}
	case 'f':
	default:
		return bass
	}
	return above(tones, bass, 6, 8)
}

// highestBass is the highest bass note of a band, B2: its strings lie below.
const highestBass = 47

// lowered puts a bass note where a band's bass lies.
func lowered(p theory.Pitch) theory.Pitch {
	for p.MIDI() > highestBass {
		p.Octave--
	}
	return p
}

// above is the chord's tone that lies so many semitones above the bass; the bass where
// there is none.
func above(tones []theory.Pitch, bass theory.Pitch, least, most int) theory.Pitch {
	for _, p := range tones {
		d := ((p.MIDI()-bass.MIDI())%12 + 12) % 12
		if d < least || d > most {
			continue
		}
		for p.MIDI() > bass.MIDI()+d {
			p.Octave--
		}
		for p.MIDI() < bass.MIDI()+d {
			p.Octave++
		}
		return p
	}
	return bass
}

// leading is the neighbour of a goal in the key from which a walking bass comes to it: of
// the two, the nearer to where it is.
func (b *Backing) leading(from, goal theory.Pitch) theory.Pitch {
	best, least := goal, math.MaxInt
	for _, d := range b.Key.ScaleDegrees() {
		p := b.Key.Pitch(d, goal.Octave)
		for p.MIDI()-goal.MIDI() > 6 {
			p.Octave--
		}
		for goal.MIDI()-p.MIDI() > 6 {
			p.Octave++
		}
		step, far := p.MIDI()-goal.MIDI(), p.MIDI()-from.MIDI()
		if (step == 1 || step == 2 || step == -1 || step == -2) && far*far < least {
			best, least = p, far*far
		}
	}
	return best
}

// struck is the sound of a chord or a bass note that lasts so many seconds until the next.
func (b *Backing) struck(tones []float64, lane int, seconds float64) []float64 {
	gain := 1.0
	if lane == bassLane {
		gain = fromDB(bassGain)
	}
	var p Phrase
	for _, hz := range tones {
		p = append(p, Sound{Hz: hz, Duration: max(0.05, seconds-Release/2)})
	}
	return b.plain(p, gain)
}

// plain renders a phrase as loud as it comes.
func (k Keyboard) plain(p Phrase, gain float64) []float64 {
	out := make([]float64, k.samples(p))
	for _, s := range p {
		k.add(out[samplesIn(s.Start, k.SampleRate):], s, gain)
	}
	return out
}

// drums are the sounds of kick, snare and hat: how loud they begin, how fast they fall to
// 1/e, in seconds, and between which frequencies their noise lies, in hertz. A kick has a
// tone that falls from high to low instead. None has a pitch that lasts.
var drums = [...]struct{ level, fall, high, low float64 }{
	kickLane:  {1.6, 0.06, 120, 48},
	snareLane: {1.3, 0.035, 7000, 900},
	hatLane:   {0.7, 0.012, 11000, 6000},
}

// drum is the sound of one stroke.
func drum(lane int, sign byte, rate int) []float64 {
	d := &drums[lane]
	out := make([]float64, samplesIn(7*d.fall, rate))
	gain := d.level
	if sign == 'o' {
		gain *= fromDB(softly)
	}
	seed := uint64(lane + 1)
	turn, low, high := 0.0, 0.0, 0.0
	for i := range out {
		t := float64(i) / float64(rate)
		env := gain * rise(t/0.001) * expE(-t/d.fall) * (1 - rise(t/(7*d.fall)*4-3))
		if lane == kickLane {
			turn += (d.low + (d.high-d.low)*expE(-t/0.025)) / float64(rate)
			out[i] = env * math.Sin(2*math.Pi*turn)
			continue
		}
		seed = seed*6364136223846793005 + 1442695040888963407
		x := float64(int64(seed)) / (1 << 63)
		high += (1 - expE(-2*math.Pi*min(d.high/float64(rate), 0.4))) * (x - high)
		low += (1 - expE(-2*math.Pi*min(d.low/float64(rate), 0.3))) * (high - low)
		out[i] = env * (high - low)
	}
	if n := len(out); n > 0 {
		out[n-1] = 0
	}
	return out
}

// After has the band begin so many seconds later.
func (b *Band) After(seconds float64) { b.after = seconds }

// Add has something else sound at a time in seconds from the start, as it is.
func (b *Band) Add(seconds float64, sound []float64) {
	b.hits = append(b.hits, hit{(seconds - b.after) / b.beat, sound})
}

// Round is how many samples it takes until the band repeats; 0: it does not.
func (b *Band) Round() int64 { return int64(samplesIn(b.round*b.beat, b.rate)) }

// Tones are the tones of chords and bass in hertz.
func (b *Band) Tones() [][]float64 { return b.tones }

// Samples is how many samples the band plays, once round, until the last sound is over.
func (b *Band) Samples() int {
	n := samplesIn(b.after+b.beats*b.beat, b.rate)
	if b.round == 0 {
		for _, h := range b.hits {
			n = max(n, samplesIn(b.after+h.at*b.beat, b.rate)+len(h.sound))
		}
	}
	return n
}

// Fill writes the sound from sample at on into dst. The split into calls changes nothing.
func (b *Band) Fill(dst []float64, at int64) {
	clear(dst)
	for _, h := range b.hits {
		first := b.after + h.at*b.beat
		rounds := 0.0
		if b.round > 0 {
			ends := (float64(at-int64(len(h.sound)))/float64(b.rate) - first) / (b.round * b.beat)
			rounds = max(0, math.Floor(ends))
		}
		for ; ; rounds++ {
			from := int64(samplesIn(first+rounds*(b.round*b.beat), b.rate)) - at
			if from >= int64(len(dst)) {
				break
			}
			if end := from + int64(len(h.sound)); end > 0 {
				sound := h.sound[max(0, -from):]
				into := dst[max(0, from):]
				for i := range min(len(sound), len(into)) {
					into[i] += sound[i]
				}
			}
			if b.round == 0 {
				break
			}
		}
	}
}

// Silence is a band that plays nothing for so many seconds, to which sounds are added.
func (k Keyboard) Silence(seconds float64) *Band {
	return &Band{rate: k.SampleRate, beat: 1, beats: seconds}
}

// SungBeat is a voice that counts: a note of so many hertz on the vowel of do, so many
// seconds long, and as loud as level says in LUFS.
func SungBeat(rate int, hz, seconds, level float64) []float64 {
	kind := Soprano
	switch {
	case hz < 110:
		kind = Bass
	case hz < 175:
		kind = Tenor
	case hz < 280:
		kind = Alto
	}
	note := Sung{Hz: hz, Duration: seconds, Vowel: O, Consonant: Plosive, Level: -20, BreathDB: 30}
	x, _ := Voice{SampleRate: rate, Type: kind}.Sing([]Sung{note}, 1)
	scale(x, Gain(x, rate, level))
	return x
}

// Metronome clicks the beats of a bar, again and again, a bar every so many seconds.
func (k Keyboard) Metronome(beats []Beat, bar float64) *Band {
	b := &Band{rate: k.SampleRate, beat: 1, beats: bar, round: bar}
	b.Add(0, k.Clicks(beats, bar))
	return b
}
