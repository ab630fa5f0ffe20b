package report

import (
	"fmt"
	"strings"

	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
)

// endWords say why a sitting ended.
var endWords = map[practice.End]string{
	practice.TimeOver: "the time is over",
	practice.SungOut:  "that was enough singing for today",
	practice.Tired:    "errors were rising: rest, and go on later or tomorrow",
	practice.NoSkill:  "the course asks for nothing that can be sung here",
}

// EndText says in words why a sitting ended; "" while it goes on.
func EndText(e practice.End) string { return endWords[e] }

// LevelText says in one line what a level of melodies holds beyond the one below.
func LevelText(level int) string {
	text := strings.Join(compose.LevelSkills(level), ", ")
	if level == 1 {
		return "do re mi by step in quarters and halves, 4/4, or one of: " + text
	}
	return text
}

// Levels lists the levels of melodies, in lines of at most 79 cells.
func Levels() string {
	var b strings.Builder
	b.WriteString("Levels; a melody has at most one of the things that are new at its level:")
	for l := 1; l <= compose.Levels; l++ {
		b.WriteString("\n" + hang(fmt.Sprintf("  %d", l), LevelText(l), 5, 79))
	}
	return b.String()
}

// FaultText says in words what a fault of a take is.
func FaultText(f grade.Fault) string {
	switch f.Name {
	case "omitted":
		return noteList(f.Notes) + ": left out"
	case "wrong":
		return noteList(f.Notes) + ": another degree"
	case "out_of_tune":
		return noteList(f.Notes) + ": out of tune"
	case "short":
		if !f.Timed {
			return noteList(f.Notes) + ": shorter than the others"
		}
		return noteList(f.Notes) + ": let go early"
	case "added":
		switch f.Count {
		case 0:
			return fmt.Sprintf("sound that belongs to no note, %.0f %% of the line's length", 100*f.Amount)
		case 1:
			return "sang 1 note that is not written"
		}
		return fmt.Sprintf("sang %d notes that are not written", f.Count)
	case "restarts":
		if f.Count != 1 {
			return fmt.Sprintf("went back %d times to sing again", f.Count)
		}
		return "went back 1 time to sing again"
	case "waited":
		return "waited before " + noteList(f.Notes)
	case "tempo":
		if f.Amount < 0 {
			return fmt.Sprintf("the second half is %.0f %% faster", 100*(1/(1+f.Amount)-1))
		}
		return fmt.Sprintf("the second half is %.0f %% slower", 100*f.Amount/(1+f.Amount))
	case "rhythm":
		switch {
		case len(f.Notes) == 0:
			return fmt.Sprintf("notes begin %.2f beats from their time on average", f.Amount)
		case len(f.Notes) == 1 && f.Amount < 0:
			return fmt.Sprintf("%s: begins %.2f beats early", noteList(f.Notes), -f.Amount)
		case len(f.Notes) == 1:
			return fmt.Sprintf("%s: begins %.2f beats late", noteList(f.Notes), f.Amount)
		}
		return fmt.Sprintf("%s: %.2f beats off on average", noteList(f.Notes), f.Amount)
	case "held":
		return noteList(f.Notes) + ": held longer than written"
	case "drift":
		return fmt.Sprintf("the key moved by %+.0f cents", f.Amount)
	}
	return noteList(f.Notes) + ": not clear all the time"
}

// noteList names notes by number.
func noteList(n []int) string {
	const most = 4
	if len(n) == 1 {
		return fmt.Sprintf("note %d", n[0]+1)
	}
	var b strings.Builder
	b.WriteString("notes ")
	for k, v := range n[:min(most, len(n))] {
		if k > 0 {
			b.WriteString(", ")
		}
		fmt.Fprint(&b, v+1)
	}
	if len(n) > most {
		fmt.Fprintf(&b, " and %d more", len(n)-most)
	}
	return b.String()
}
