package notation

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"singback/theory"
)

// voiceWords are the words that name voices in files, in English and as they are like
// it in German, French, Italian and Latin prints (common practice), as prefixes.
var voiceWords = []struct{ voice, words string }{
	{"soprano", "soprano sopran cantus canto dessus superius discant treble"},
	{"mezzo", "mezzo-soprano mezzo"},
	{"alto", "alto alt altus contralto haute"},
	{"tenor", "tenor tenore taille ténor"},
	{"baritone", "baritone bariton baritono"},
	{"bass", "bass basso bassus basse bas"},
}

// VoiceWord returns the voice that a name of a part means ("soprano" … "bass"), and
// the rest of it, like "2" of "Alto 2"; "" where it names none.
func VoiceWord(name string) (voice, rest string) {
	word := strings.ToLower(strings.TrimSpace(name))
	end := strings.IndexFunc(word, func(r rune) bool { return !unicode.IsLetter(r) && r != '-' })
	if end >= 0 {
		word, rest = word[:end], strings.Trim(word[end:], " .:-")
	}
	if i := strings.Index("satb", word); len(word) == 1 && i >= 0 {
		return []string{"soprano", "alto", "tenor", "bass"}[i], rest
	}
	for _, v := range voiceWords {
		if slices.Contains(strings.Fields(v.words), strings.TrimRight(word, "-")) {
			return v.voice, rest
		}
	}
	return "", ""
}

// titled is a voice as a part is called, with the rest of its name.
func titled(voice, rest string) string {
	name := strings.ToUpper(voice[:1]) + voice[1:]
	if rest != "" {
		name += " " + rest
	}
	return name
}

// choirHalves are the names of parts that two voices share (common practice).
var choirHalves = map[string][2]string{"women": {"soprano", "alto"}, "men": {"tenor", "bass"}, "female": {"soprano", "alto"}, "male": {"tenor", "bass"}}

// splitName names the voices that share a part: "Soprano Alto", "S/A" and "SA" name two;
// else the name is numbered. One voice has the name as it is.
func splitName(name string, n int) []string {
	if n == 1 {
		return []string{name}
	}
	words := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) })
	words = slices.DeleteFunc(words, func(w string) bool {
		return strings.EqualFold(w, "and") || strings.EqualFold(w, "und") || strings.EqualFold(w, "et")
	})
	if len(words) == 1 && len(words[0]) == n && strings.Trim(strings.ToUpper(words[0]), "SATB") == "" {
		words = strings.Split(words[0], "")
	}
	if len(words) == n && !slices.ContainsFunc(words, func(w string) bool { v, _ := VoiceWord(w); return v == "" }) {
		return words
	}
	if two, ok := choirHalves[strings.ToLower(strings.TrimSpace(name))]; ok && n == 2 {
		return two[:]
	}
	out := make([]string, n)
	for i := range out {
		if out[i] = strconv.Itoa(i + 1); name != "" {
			out[i] = name + " " + out[i]
		}
	}
	if name == "" {
		clear(out)
	}
	return out
}

// name gives the parts names that are all different: voices as they are called; where
// four lines that lie one below the other have no voices' names, those of a mixed choir.
func (r *partsReader) name() {
	voices := 0
	for i := range r.parts {
		if v, rest := VoiceWord(r.parts[i].Name); v != "" {
			r.parts[i].Name = titled(v, rest)
			voices++
		}
	}
	if voices == 0 && len(r.parts) == 4 && !slices.ContainsFunc(r.parts, func(p Part) bool { return !plainName(p.Name) }) && falling(r.parts) {
		for i, v := range []string{"soprano", "alto", "tenor", "bass"} {
			r.parts[i].Name = titled(v, "")
		}
		r.say("its four lines, one below the other, are taken for soprano, alto, tenor and bass")
	}
	for i := range r.parts {
		p := &r.parts[i]
		if p.Name == "" {
			p.Name = fmt.Sprintf("Part %d", i+1)
		}
		same := func(name string) bool {
			return slices.ContainsFunc(r.parts[:i], func(q Part) bool { return strings.EqualFold(q.Name, name) })
		}
		for name, n := p.Name, 2; same(p.Name); n++ {
			p.Name = fmt.Sprintf("%s (%d)", name, n)
		}
	}
}

// plainName tells whether a name says nothing of what sings or plays.
func plainName(name string) bool {
	name = strings.ToLower(strings.TrimRight(name, " 0123456789"))
	return slices.Contains([]string{"", "voice", "voices", "choir", "chorus", "part", "staff", "satb", "piano", "organ", "track"}, name)
}

// falling tells whether each part lies below the one before it, by the mean of its
// notes.
func falling(parts []Part) bool {
	last := 0.0
	for i, p := range parts {
		sum, n := 0.0, 0.0
		for _, w := range p.Score.Notes {
			if !w.Rest {
				sum, n = sum+float64(w.Pitch.MIDI())*w.Length.Float(), n+w.Length.Float()
			}
		}
		if mean := sum / n; i > 0 && mean >= last {
			return false
		} else {
			last = mean
		}
	}
	return true
}

// FindPart returns the index of the part that is wanted: its name, its id, its number
// from 1, or the beginning of one name alone.
func FindPart(parts []Part, want string) (int, error) {
	want = strings.TrimSpace(want)
	same := func(s string) bool { return strings.EqualFold(s, want) }
	if i := slices.IndexFunc(parts, func(p Part) bool { return same(p.Name) }); i >= 0 {
		return i, nil
	}
	if voice, rest := VoiceWord(want); voice != "" {
		if i := slices.IndexFunc(parts, func(p Part) bool { return strings.EqualFold(p.Name, titled(voice, rest)) }); i >= 0 {
			return i, nil
		}
	}
	if i := slices.IndexFunc(parts, func(p Part) bool { return same(p.ID) }); i >= 0 {
		return i, nil
	}
	if n, err := strconv.Atoi(want); err == nil && n >= 1 && n <= len(parts) {
		return n - 1, nil
	}
	var found []int
	var names []string
	for i, p := range parts {
		if len(want) > 1 && strings.HasPrefix(strings.ToLower(p.Name), strings.ToLower(want)) {
			found = append(found, i)
		}
		if len(names) < 12 {
			names = append(names, p.Name)
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	if len(found) > 1 {
		return 0, noPart{fmt.Errorf("%w: several parts begin with %s: want one of %s", ErrNotation, quote(want), strings.Join(names, ", "))}
	}
	return 0, noPart{fmt.Errorf("%w: there is no part %s: want one of %s", ErrNotation, quote(want), strings.Join(names, ", "))}
}

// lineNamed reads the line that is wanted where no voice, part or track has that
// name, and one of the lines that they make has: see ReadParts.
func (r *reading) lineNamed(name string, b []byte, err error) (theory.Score, []Warning, bool) {
	if missing := (noPart{}); !errors.As(err, &missing) || r.options.Voice == "" {
		return theory.Score{}, nil, false
	}
	parts, warnings, err := parseParts(name, b, r.options)
	if err != nil {
		return theory.Score{}, nil, false
	}
	i, err := FindPart(parts, r.options.Voice)
	if err != nil {
		return theory.Score{}, nil, false
	}
	return parts[i].Score, append(warnings, parts[i].Warnings...), true
}
