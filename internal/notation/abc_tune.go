package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"singback/internal/plain"
)

// moreTunes is said of a file with several tunes.
const moreTunes = "there are more tunes; only the first one is read (--tune chooses)"

// chosen is the text of an ABC file in which the tune that is asked for is the first;
// the lines of the others are empty, so that the rest keep their numbers. What stands
// before the first tune is the header of the file and holds for all.
func chosen(text, want string) (string, error) {
	if want == "" {
		return text, nil
	}
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
	type tune struct {
		from, to      int
		number, title string
	}
	var tunes []tune
	for i, line := range lines {
		if number, ok := strings.CutPrefix(line, "X:"); ok {
			if n := len(tunes); n > 0 {
				tunes[n-1].to = i
			}
			number, _, _ = strings.Cut(number, "%")
			tunes = append(tunes, tune{from: i, to: len(lines), number: strings.TrimSpace(number)})
		}
		if title, ok := strings.CutPrefix(line, "T:"); ok && len(tunes) > 0 && tunes[len(tunes)-1].title == "" {
			tunes[len(tunes)-1].title = strings.TrimSpace(title)
		}
	}
	match := func(like func(t tune) bool) (found []tune) {
		for _, t := range tunes {
			if like(t) {
				found = append(found, t)
			}
		}
		return found
	}
	lower := strings.ToLower(strings.TrimSpace(want))
	var found []tune
	for _, like := range []func(t tune) bool{
		func(t tune) bool { return t.number == strings.TrimSpace(want) },
		func(t tune) bool { return strings.ToLower(t.title) == lower },
		func(t tune) bool { return strings.Contains(strings.ToLower(t.title), lower) },
	} {
		if found = match(like); len(found) > 0 {
			break
		}
	}
	if len(found) == 1 {
		for i := range lines {
			if i >= tunes[0].from && (i < found[0].from || i >= found[0].to) {
				lines[i] = ""
			}
		}
		return strings.Join(lines, "\n"), nil
	}
	among, said := tunes, "there is no tune "
	if len(found) > 1 {
		among, said = found, "several tunes are like "
	}
	var names []string
	for _, t := range among {
		name := t.number
		if title := plain.Short(t.title); title != "" {
			name += " (" + title + ")"
		}
		if names = append(names, name); len(names) == 8 && len(among) > 8 {
			names = append(names, fmt.Sprintf("%d more", len(among)-8))
			break
		}
	}
	if len(names) == 0 {
		return "", fmt.Errorf("%w: %s%s: it has no tunes with numbers (X:)", ErrNotation, said, strconv.Quote(plain.Short(want)))
	}
	return "", fmt.Errorf("%w: %s%s: want one of %s", ErrNotation, said, strconv.Quote(plain.Short(want)), strings.Join(slices.Compact(names), ", "))
}

// oneTune refuses the choice of a tune where there is one.
func (o Options) oneTune(f Format) error {
	if o.Tune == "" || f == ABC {
		return nil
	}
	return fmt.Errorf("%w: there is one tune in it: only a file of ABC has several to choose from", ErrNotation)
}
