package report

import (
	"fmt"
	"strings"
	"time"
)

// RecordCheck is the record of what was found in a practice record.
type RecordCheck struct {
	Schema   int            `json:"schema"`
	File     string         `json:"file"`
	Version  int            `json:"version"`
	Size     int64          `json:"size_bytes"`
	Sessions int            `json:"sessions"`
	Answers  int            `json:"answers"`  // that can be read
	Lost     int            `json:"lost"`     // that were there and cannot
	Problems []string       `json:"problems"` // empty: the record is sound
	Singers  []RecordSinger `json:"singers"`
}

// RecordSinger is what the practice record has of one singer.
type RecordSinger struct {
	Name     string  `json:"name"`
	Sessions int     `json:"sessions"`
	Answers  int     `json:"answers"`
	First    *string `json:"first"` // time of the first answer; null without one
	Last     *string `json:"last"`

	days [2]string // of the first and the last
}

// NewRecordSinger makes the record of a singer; first and last are zero without
// an answer.
func NewRecordSinger(name string, sessions, answers int, first, last time.Time) RecordSinger {
	s := RecordSinger{Name: name, Sessions: sessions, Answers: answers}
	at := func(t time.Time, day *string) *string {
		if *day = "-"; t.IsZero() {
			return nil
		}
		*day = t.Format(time.DateOnly)
		text := t.Format(time.RFC3339Nano)
		return &text
	}
	s.First, s.Last = at(first, &s.days[0]), at(last, &s.days[1])
	return s
}

// Text says whether the record is sound, and what is in it.
func (c RecordCheck) Text() string {
	var b strings.Builder
	verdict, answers := "sound", Many(c.Answers, "answer")
	if len(c.Problems) > 0 {
		verdict = "damaged"
		answers += " can be read"
		if c.Lost > 0 {
			answers += fmt.Sprintf(", %d or more are lost", c.Lost)
		}
		answers += ";"
	}
	fmt.Fprintf(&b, "%s: %s; version %d, %s in %s, %d kB\n", c.File, verdict, c.Version, answers, Many(c.Sessions, "session"), (c.Size+1023)/1024)
	for _, p := range c.Problems {
		fmt.Fprintln(&b, "  "+p)
	}
	if len(c.Singers) == 0 {
		return b.String()
	}
	w := newColumns(&b)
	fmt.Fprintln(w, "\nsinger\tsessions\tanswers\tfirst\tlast")
	for _, s := range c.Singers {
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\n", s.Name, s.Sessions, s.Answers, s.days[0], s.days[1])
	}
	w.Flush()
	return b.String()
}
