package takedown_test

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// rows reads a table of the reference data, with the names of its columns; a test
// without that data is passed over.
func rows(t testing.TB, names ...string) (out []map[string]string) {
	t.Helper()
	columns, all := testkit.Reference(t, names...)
	for _, row := range all {
		m := map[string]string{}
		for i, name := range columns {
			m[name] = row[i]
		}
		out = append(out, m)
	}
	return out
}

// written is one note of a bass: where it begins and how long it is, in beats.
type written struct {
	at, length float64
	midi       int
}

// song is a bass with what is known of it.
type song struct {
	name  string
	key   theory.Key
	meter theory.Meter
	tempo float64 // beats a minute
	bass  []written
	roots []int // of the chords over the notes, in semitones above the tonic; nil where they are not known
}

// hymns are the basses of the hymns in major and minor that have a meter: 104 public
// domain hymns of the Open Hymnal Project, as its README says.
func hymns(t testing.TB) (list []song) {
	t.Helper()
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	parts := map[string][]written{}
	for _, row := range rows(t, "hymns", "notes.csv.gz") {
		if row["voice"] == "B" {
			n := written{number(row["onset_beats"]), number(row["beats"]), int(number(row["midi"]))}
			parts[row["hymn"]] = append(parts[row["hymn"]], n)
		}
	}
	for _, row := range rows(t, "hymns", "hymns.csv") {
		meter, err := theory.ParseMeter(row["meter"])
		if err != nil || row["mode"] != "major" && row["mode"] != "minor" {
			continue
		}
		signature, err := theory.ParseKey(row["signature_as_major_key"])
		if err != nil {
			t.Fatal(err)
		}
		s := song{name: row["hymn"], key: signature, meter: meter}
		if row["mode"] == "minor" {
			s.key = signature.WithMode(theory.Minor)
		}
		_, tempo, _ := strings.Cut(row["tempo"], "=")
		pulse := meter.Pulse().Float()
		s.tempo = number(tempo) / pulse
		bass := parts[s.name]
		slices.SortStableFunc(bass, func(a, b written) int { return cmp.Compare(a.at, b.at) })
		for i, n := range bass {
			if i > 0 && n.at == bass[i-1].at {
				continue // a divided bass: the first is sung
			}
			n.at, n.length = n.at/pulse, n.length/pulse
			s.bass = append(s.bass, n)
		}
		list = append(list, s)
	}
	return list
}

// charts are the basses of the first bars of chart songs in 4/4, with the roots of their
// chords: half of the McGill Billboard annotations 2.0 (Burgoyne, Wild and Fujinaga
// 2011), as its README says. The annotators wrote inversions where they were clear.
func charts(t testing.TB, bars float64) (list []song) {
	t.Helper()
	var s *song
	end := func() {
		if s != nil && len(s.bass) > 4 {
			last := len(s.bass) - 1
			s.bass[last].length = 4
			list = append(list, *s)
		}
	}
	major := map[string]bool{}
	all := rows(t, "billboard-chords", "chords.csv.gz")
	for _, row := range all { // the mode is that of the first chord on the tonic
		if _, known := major[row["song"]]; !known && row["root_semitones_above_tonic"] == "0" {
			major[row["song"]] = !strings.HasPrefix(row["quality"], "min")
		}
	}
	name := ""
	for _, row := range all {
		if row["song"] != name {
			end()
			name, s = row["song"], nil
			key, err := theory.ParseKey(row["tonic"])
			if err == nil && row["metre"] == "4/4" {
				s = &song{name: name, key: theory.TwelveKeys(theory.Major)[key.Tonic.PitchClass()], meter: theory.Meter{Beats: 4, Unit: 4}}
				if !major[name] {
					s.key = theory.TwelveKeys(theory.Minor)[key.Tonic.PitchClass()]
				}
				s.tempo = float64(72 + 8*(len(list)%7))
			}
		}
		if s == nil {
			continue
		}
		bar, err1 := strconv.ParseFloat(row["bar"], 64)
		in, err2 := strconv.ParseFloat(row["position_in_bar"], 64)
		up, err3 := strconv.Atoi(row["bass_semitones_above_tonic"])
		root, err4 := strconv.Atoi(row["root_semitones_above_tonic"])
		at := 4*bar + 4*in
		if cmp.Or(err1, err2, err3, err4) != nil || bar >= bars || at != math.Trunc(at) {
			continue
		}
		midi := 40 + (s.key.Tonic.PitchClass()+up+120-40)%12
		if k := len(s.bass) - 1; k >= 0 {
			s.bass[k].length = at - s.bass[k].at
		}
		s.bass, s.roots = append(s.bass, written{at, 4, midi}), append(s.roots, root)
	}
	end()
	for i := range list { // every song from its first beat on
		first := list[i].bass[0].at
		for k := range list[i].bass {
			list[i].bass[k].at -= first
		}
	}
	return list
}

// manner is how somebody sings a bass.
type manner struct {
	off, drift float64 // cents: the home off A4 = 440, and what it moves by until the end
	vibrato    float64 // cents to either side
	slides     float64 // share of the notes that slide from the one before
	hesitate   float64 // share that come late
	corrected  float64 // share that begin on a wrong note
	scatter    float64 // cents from note to note
	timing     float64 // seconds, SD
	lag        float64 // seconds behind the beat
	vowels     bool    // on one vowel, without consonants
	room       synth.Room
	snr        float64 // dB over pink noise
}

const rate = 16000

// leadIn is how long the home note is sung, and the silence behind it, in seconds.
const (
	homeLength = 1.6
	homeGap    = 1.2
)

// sing sings the home note and then the bass, and says when the first beat was.
func sing(s song, m manner, seed uint64) (samples []float64, first float64) {
	rng := rand.New(rand.NewPCG(seed, 11))
	beat := 60 / s.tempo
	hz := func(midi int, cents float64) float64 {
		return 440 * math.Exp2((float64(midi)-69)/12+(cents+m.off)/1200)
	}
	tonic := s.bass[0].midi
	for want := s.key.Tonic.PitchClass(); (tonic%12+12)%12 != want; tonic-- {
	}
	if tonic < 40 {
		tonic += 12
	}
	consonant := func() synth.Consonant {
		if m.vowels {
			return synth.NoConsonant
		}
		return synth.Consonant(1 + rng.IntN(3))
	}
	note := func(hz, seconds float64) synth.Sung {
		n := synth.NewSung(hz, seconds)
		n.Vowel = synth.Vowel(rng.IntN(5))
		if m.vowels {
			n.Vowel = synth.A
		}
		n.Consonant = consonant()
		n.BreathDB = 22 + 8*rng.Float64()
		n.ScoopCents = 60 * rng.Float64()
		n.VibratoHz, n.VibratoCents = 5+1.5*rng.Float64(), m.vibrato*(0.5+0.5*rng.Float64())
		n.DriftCents = 3 + 3*rng.Float64()
		n.Level = -20 + 2*rng.NormFloat64()
		return n
	}
	line := []synth.Sung{synth.Rest(0.5), note(hz(tonic, 6*rng.NormFloat64()), homeLength), synth.Rest(homeGap)}
	first = 0.5 + homeLength + homeGap
	last := s.bass[len(s.bass)-1]
	end := last.at + last.length
	sung := first // how far the line is sung, in seconds
	for i, n := range s.bass {
		from := first + n.at*beat + m.lag + m.timing*max(-2, min(2, rng.NormFloat64()))
		if rng.Float64() < m.hesitate {
			from += 0.15 + 0.15*rng.Float64()
		}
		to := first + (n.at+n.length)*beat + m.lag
		if i+1 < len(s.bass) && n.length >= 2 && rng.Float64() < 0.7 {
			to -= 0.35 // a breath
		}
		from = max(from, sung)
		if to-from < 0.12 {
			to = from + 0.12
		}
		if from-sung > 0.02 {
			line = append(line, synth.Rest(from-sung))
			sung = from
		}
		cents := m.drift*n.at/end + m.scatter*rng.NormFloat64()
		target := hz(n.midi, cents)
		one := note(target, to-from)
		if i > 0 && n.midi != s.bass[i-1].midi && rng.Float64() < m.slides {
			before := 100 * float64(s.bass[i-1].midi-n.midi)
			length := 0.08 + 0.08*rng.Float64()
			one.Consonant = synth.NoConsonant
			one.ScoopCents = 0
			one.Bend = func(t float64) float64 { return before * max(0, 1-t/length) }
		} else if to-from > 0.5 && rng.Float64() < m.corrected {
			wrong := 200 * float64(1-2*rng.IntN(2))
			hold, way := 0.15+0.1*rng.Float64(), 0.06
			one.Bend = func(t float64) float64 {
				return wrong * max(0, min(1, 1-(t-hold)/way))
			}
		}
		line = append(line, one)
		sung = to
	}
	line = append(line, synth.Rest(1))
	voice := synth.Voice{SampleRate: rate, Type: synth.Bass}
	x, _ := voice.Sing(line, seed)
	if m.room.RT60 > 0 {
		x = m.room.Reverb(x, rate, seed)
	}
	if m.snr > 0 {
		synth.AddAt(x, synth.Pink(len(x), seed), m.snr)
	}
	return x, first
}

// amateur is how the basses are sung in the trial, each in a way of its own.
func amateur(seed uint64) manner {
	rng := rand.New(rand.NewPCG(seed, 12))
	m := manner{
		off: 90*rng.Float64() - 45, drift: 80*rng.Float64() - 40, vibrato: 40 * rng.Float64(),
		slides: 0.3 * rng.Float64(), hesitate: 0.05, corrected: 0.04, scatter: 6 + 8*rng.Float64(),
		timing: 0.02 + 0.02*rng.Float64(), lag: 0.08 * rng.Float64(), vowels: rng.IntN(5) == 0,
	}
	if rng.IntN(2) == 0 {
		m.room = synth.Room{RT60: 0.2 + 0.4*rng.Float64(), DirectDB: 3 + 9*rng.Float64()}
	}
	m.snr = 20 + 25*rng.Float64()
	return m
}

// heard is a take of samples as a recording is read.
func heard(t testing.TB, x []float64) grade.Performance {
	t.Helper()
	p, err := listen.Take(context.Background(), audio.NewSamples(rate, x), listen.Hearing{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
