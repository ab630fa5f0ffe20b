package theory_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	. "singback/theory"
)

// licencesIn are the rules that the steps of a voicing break, from the spelled notes
// alone: nothing of the search is used.
func licencesIn(p []Roman, vs []Voicing) (list []string) {
	for i := 1; i < len(p); i++ {
		checkStep(p[i-1], p[i], vs[i-1], vs[i], func(format string, args ...any) {
			rule := fmt.Sprintf(format, args...)
			switch {
			case rule == "parts overlap":
				rule = "a part that crosses where its neighbour was"
			case strings.HasPrefix(rule, "the seventh"):
				rule = "a seventh that does not fall by step"
			case strings.HasPrefix(rule, "the leading tone"):
				rule = "a leading tone that does not rise"
			}
			if rule = fmt.Sprint(i, " ", i+1, " ", rule); !slices.Contains(list, rule) {
				list = append(list, rule)
			}
		})
	}
	slices.Sort(list)
	return list
}

func told(licences []Licence) (list []string) {
	for _, l := range licences {
		list = append(list, fmt.Sprint(l.From, " ", l.To, " ", l.Rule))
	}
	slices.Sort(list)
	return list
}

// Progressions of popular music that no voicing sets by the rules of chorales: loops
// of ninths, blues sevenths, power chords, a seventh in the bass that leaps. Each is
// refused strictly and set with licences that are those there are.
func TestVoiceFreely(t *testing.T) {
	refused := 0
	for _, s := range []string{
		"Cmaj9 Am9 Dm9 G13 C6/9", "C9 F9 G9 F9 C9", "I V42 I", "C5 F5 G5 C5", "C5 Bb5 F5 C5", "Cmaj9 Dmaj9 Ebmaj9", "C9sus4 D9sus4 C9sus4 D9sus4", "Cmaj9 Bbmaj9 Cmaj9",
		"Dm11 Em11 Dm11", "1 4- 1", "17 47 17 57 47 17", "1maj9 6-9 2-9 513 16/9",
	} {
		for name, texture := range textures() {
			for _, k := range Keys() {
				if k.Mode == Minor {
					continue
				}
				p := mustProgression(t, s, Key{})
				up := Pitch{}.IntervalTo(Pitch{Note: k.Tonic})
				for i := range p {
					p[i] = k.Roman(p[i].Chord.Up(up))
				}
				_, strict, strictErr := texture.Voice(p)
				v, cost, licences, err := texture.VoiceFreely(p)
				if err != nil {
					t.Errorf("%s in %v for %s: %v", s, k, name, err)
					continue
				}
				if got, want := told(licences), licencesIn(p, v); !slices.Equal(got, want) {
					t.Errorf("%s in %v for %s: the licences are %v, there are %v", s, k, name, got, want)
				}
				switch {
				case strictErr == nil && (len(licences) > 0 || cost != strict):
					t.Errorf("%s in %v for %s: %v, cost %d, where the rules can be kept at %d", s, k, name, licences, cost, strict)
				case strictErr != nil && len(licences) == 0:
					t.Errorf("%s in %v for %s: refused, %v, and set without a licence", s, k, name, strictErr)
				case strictErr != nil:
					refused++
				}
				if cost < 0 || cost > 60*len(p) {
					t.Errorf("%s in %v for %s costs %d", s, k, name, cost)
				}
			}
		}
	}
	if refused < 150 {
		t.Errorf("%d were refused strictly: is anything tried?", refused)
	}
	if _, _, licences, err := ChoirTexture().VoiceFreely(mustProgression(t, "I V42 I", Key{})); err != nil || len(licences) != 1 || licences[0] != (Licence{2, 3, "a seventh that does not fall by step"}) {
		t.Errorf("I V42 I: %v, %v", licences, err)
	}
	narrow := ChoirTexture()
	narrow.Ranges[3] = Range{62, 61}
	if _, _, _, err := narrow.VoiceFreely(mustProgression(t, "V", Key{})); !errors.Is(err, ErrVoicing) || !strings.Contains(err.Error(), "chord 1, V") {
		t.Errorf("an empty range gives %v", err)
	}
}

// Random progressions: whatever is refused strictly is set freely, and what there is
// of licences is named; what a chord by itself must have is kept.
func TestVoiceFreelyRandom(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 3))
	free, taken := 0, map[string]int{}
	for _, k := range Keys() {
		numerals := drawnNumeral(k.Mode)
		for range 20 {
			var p []Roman
			for range 2 + rng.IntN(5) {
				p = append(p, mustRoman(t, numerals.Example(int(rng.Uint32())), k))
			}
			for name, texture := range textures() {
				v, _, licences, err := texture.VoiceFreely(p)
				if err != nil {
					if strings.Contains(err.Error(), "to chord") {
						t.Errorf("%s in %v for %s: %v", written(p), k, name, err)
					}
					continue
				}
				for i := range p {
					checkVoicing(t, texture, p[i:i+1], v[i:i+1])
				}
				if got, want := told(licences), licencesIn(p, v); !slices.Equal(got, want) {
					t.Errorf("%s in %v for %s: the licences are %v, there are %v", written(p), k, name, got, want)
				}
				if len(licences) > 0 {
					free++
				}
				for _, l := range licences {
					taken[l.Rule]++
				}
			}
		}
	}
	t.Logf("%d of 1200 progressions with licences: %v", free, taken)
	if free < 60 {
		t.Errorf("%d progressions took a licence: is anything tried?", free)
	}
}

// No setting of two chords takes fewer licences: every pair of settings in a narrow
// texture is tried, and its licences are counted from the notes.
func TestVoiceFreelyTakesFewest(t *testing.T) {
	texture := Texture{Ranges: [4]Range{{43, 57}, {52, 64}, {57, 69}, {62, 74}}, Gap: 12, Unison: true, Top: 67}
	compared := 0
	for _, s := range []string{"V42 I", "F9 G9", "F5 G5", "Imaj42 IV", "Fmaj9 Gmaj9", "C9 Bb9", "V7 iii", "viio7 IV"} {
		p := mustProgression(t, s, mustKey(t, "D"))
		var settings [2][]Voicing
		for i, r := range p {
			var v Voicing
			var place func(part int)
			place = func(part int) {
				if part == 4 {
					if _, err := texture.Cost(p[i:i+1], []Voicing{v}); err == nil {
						settings[i] = append(settings[i], v)
					}
					return
				}
				for _, n := range r.Chord.Notes() {
					for octave := 1; octave <= 6; octave++ {
						if q := (Pitch{Note: n, Octave: octave}); texture.Ranges[part].Contains(q) && (part > 0 || n == r.Chord.Bass) {
							v[part] = q
							place(part + 1)
						}
					}
				}
			}
			place(0)
		}
		least := -1
		for _, x := range settings[0] {
			for _, y := range settings[1] {
				if n := len(licencesIn(p, []Voicing{x, y})); least < 0 || n < least {
					least = n
				}
			}
		}
		_, _, licences, err := texture.VoiceFreely(p)
		if err != nil && least >= 0 || err == nil && len(licences) != least {
			t.Errorf("%s: %v, %v; the fewest are %d of %d×%d settings", s, licences, err, least, len(settings[0]), len(settings[1]))
		}
		if least > 0 {
			compared++
		}
	}
	if compared < 3 {
		t.Errorf("%d pairs need a licence: is anything tried?", compared)
	}
}
