package notation

import (
	"fmt"
	"strconv"
	"strings"
)

// source is a voice, part or track of a file that a line can be read from.
type source struct {
	names []string // its id, and its name
	notes bool
}

// choose returns the source that is wanted: the first one with notes, or the one
// of that id or name, or of that number where those with notes are counted from
// 1. kind is what the file calls them.
func (r *reading) choose(kind, want string, sources []source) (int, error) {
	var with []int
	named := -1
	for i, s := range sources {
		if s.notes {
			with = append(with, i)
		}
		for _, name := range s.names {
			if want != "" && strings.EqualFold(name, want) && (named < 0 || s.notes && !sources[named].notes) {
				named = i
			}
		}
	}
	if len(with) == 0 {
		return 0, fmt.Errorf("%w: it has no notes", ErrNotation)
	}
	n, err := strconv.Atoi(want)
	switch {
	case want == "":
		if len(with) > 1 {
			r.warn("of %d %ss with notes (%s) the first one is read", len(with), kind, listed(sources))
		}
		return with[0], nil
	case named >= 0 && sources[named].notes:
		return named, nil
	case named < 0 && err == nil && n >= 1 && n <= len(with):
		return with[n-1], nil
	case named >= 0:
		return 0, fmt.Errorf("%w: the %s %s has no notes; those with notes are %s", ErrNotation, kind, quote(want), listed(sources))
	}
	return 0, noPart{fmt.Errorf("%w: there is no %s %s; those with notes are %s", ErrNotation, kind, quote(want), listed(sources))}
}

// noPart is the error about a source that is not there.
type noPart struct{ error }

func (e noPart) Unwrap() error { return e.error }

// listed names the sources with notes, by number and name.
func listed(sources []source) string {
	var out []string
	for _, s := range sources {
		if !s.notes {
			continue
		}
		text := strconv.Itoa(len(out) + 1)
		var names []string
		for i, name := range s.names {
			if _, err := strconv.Atoi(name); err == nil && i == 0 { // an id that goes before the number
				text = name
			} else if name != "" {
				names = append(names, quote(name))
			}
		}
		if names != nil {
			text += " (" + strings.Join(names, ", ") + ")"
		}
		if out = append(out, text); len(out) == 12 {
			out = append(out, "…")
			break
		}
	}
	return strings.Join(out, ", ")
}
