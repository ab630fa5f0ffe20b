// Package help is the handbook: one Markdown file for each topic, which the
// project's page shows as it is and the program carries with it.
//
// [Topics] lists them, [Find] finds one by its name, and [Topic.Text] sets it as
// plain text for a terminal. The package reads the Markdown that its files use
// (headings, paragraphs, lists, tables, blocks set in by four blanks, code, links)
// and no more; it knows nothing of what the topics are about.
package help

import (
	"embed"
	"strings"
)

//go:embed *.md
var files embed.FS

// Topic is one page of the handbook.
type Topic struct {
	Name   string // as it is typed: singback help NAME
	Short  string // what it is about, in one line
	Source string // Markdown
}

// about says what each topic is about, in the order in which they are listed.
var about = []struct{ name, short string }{
	{"practice", "the drill, today's practice, and why feedback fades"},
	{"page", "the same ear in a browser: on this computer, on a phone"},
	{"voice", "your voice, your room, your instrument: the profile"},
	{"melodies", "reading at sight and singing back: melody, series, echo"},
	{"parts", "hymns and songs in parts: ranges, key, hearing, singing"},
	{"grading", "takes of a melody beside a model, and what marks mean"},
	{"class", "a teacher's class: takes collected, marked, reviewed"},
	{"desk", "a class in the browser: takes heard, seen and decided"},
	{"marks", "what counts in a mark of a class; rubrics, doubt, agreement"},
	{"sheets", "what comes out of a class: sheets, tables, what is heard"},
	{"recordings", "single notes judged; pitch and notes as tables"},
	{"record", "the practice record and progress; export, rescue"},
	{"handin", "takes and practice sent to a teacher's folder on a server"},
	{"courses", "what is learnt in which order; how to write a course"},
	{"names", "keys, scales, syllables, tunings: key, rename, findkey"},
	{"chords", "cadences, passing chords, chords over a bass"},
	{"follow", "a song taken down: its bass sung along becomes a chart"},
	{"keys", "what can be pressed while the screen is shown"},
	{"formats", "files that are read and written; output for programs"},
	{"fields", "every field and column of that output"},
	{"troubleshooting", "no microphone, late headphones, permissions, full disk"},
}

// Topics returns all topics, in the order in which they are listed.
func Topics() []Topic {
	list := make([]Topic, len(about))
	for i, a := range about {
		b, err := files.ReadFile(a.name + ".md")
		if err != nil {
			panic("help: " + err.Error()) // what is embedded is there; a test reads every topic
		}
		list[i] = Topic{Name: a.name, Short: a.short, Source: string(b)}
	}
	return list
}

// Find returns the topic of that name, however it is capitalised; false if there is
// none.
func Find(name string) (Topic, bool) {
	for _, t := range Topics() {
		if strings.EqualFold(t.Name, name) {
			return t, true
		}
	}
	return Topic{}, false
}
