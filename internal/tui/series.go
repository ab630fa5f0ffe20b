package tui

import (
	"cmp"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"singback/internal/drill"
	"singback/internal/engrave"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Series shows a series in lines.
type Series struct {
	Run              *drill.Run
	Results, Prompts io.Writer // Results is nil where no text is wanted
	Voice            string    // whose clef it is, "": the one that fits
	Width            int       // columns of the terminal
	Cursor           bool      // show while the singer sings which degree is heard

	plays bool // what was sung is being played
}

// Event writes what happened.
func (v *Series) Event(ev session.Event) {
	prompts, style := v.Prompts, v.Run.Style
	switch ev := ev.(type) {
	case session.LinePrompted:
		m := ev.Melody
		what := "melody"
		if ev.Echo {
			what = "phrase"
		}
		skill := ""
		if m.Skill != "" {
			skill = ", " + m.Skill
		}
		from := fmt.Sprintf("level %d%s", m.Level, skill)
		if m.Level == 0 { // it was read
			from = cmp.Or(plain.Short(m.Score.Title), "read")
		}
		fmt.Fprintf(prompts, "\n%d of %d: a %s in %s, %s, %g beats a minute.\n", ev.Index, ev.Of, what, style.Key(m.Score.Key), from, ev.Tempo)
		if !ev.Echo {
			v.show(prompts, m.Score, ev.Silent)
		}
		if text := drill.SilentText(&ev); text != "" {
			fmt.Fprintln(prompts, text)
		}
	case session.Overheard:
		fmt.Fprintln(prompts, drill.TooLoud(ev))
	case session.KeySet:
		fmt.Fprintf(prompts, "%s: %s, %s, seed %d.\n", style.Key(ev.Key), ev.Setting, report.Tuning(ev.Tuning), v.Run.Plan.Seed)
	case session.CountIn:
		fmt.Fprintln(prompts, drill.CountIn(ev))
	case session.PlayingLine:
		fmt.Fprintln(prompts, "Listen.")
	case session.Listening:
		if v.plays {
			break
		}
		fmt.Fprintln(prompts, "Sing now.")
	case session.Gone:
		fmt.Fprintln(prompts, drill.Went(ev))
	case session.Notice:
		fmt.Fprintln(prompts, ev.Text)
	case *session.HandAsked:
		v.plays = true
		fmt.Fprintln(prompts, "Now play it.")
	case *session.HandStruck:
		v.plays = false
		writeStruck(v.Results, style, ev)
	case session.Heard:
		v.cursor(ev)
	case session.LineSung:
		if v.Results != nil {
			v.tell(ev)
		}
	}
}

// cursor shows which degree is heard.
func (v *Series) cursor(h session.Heard) {
	if !v.Cursor {
		return
	}
	name, item := "", v.Run.Plan.Item
	if h.Singing && h.F0 > 0 {
		tonic := item.Tuning.Hz(theory.Pitch{Note: item.Key.Tonic, Octave: 4})
		d, _ := item.Tuning.Nearest(theory.CentsBetween(h.F0, tonic), theory.Degree{Step: 1})
		name = v.Run.Style.Degree(item.Key, d)
	}
	fmt.Fprintf(plain.Around(v.Prompts), "\r%-8s\r", name)
}

// show draws a line with what stands below it, as wide as the terminal.
func (v *Series) show(w io.Writer, s theory.Score, silent []bool) {
	fmt.Fprint(w, drawStaff(s, v.Voice, v.Run.Style, v.Run.Shown(), v.Width, silent))
}

// DrawStaff draws a line as text, so many columns wide.
func DrawStaff(s theory.Score, voice string, style report.Style, labels bool, width int) string {
	return drawStaff(s, voice, style, labels, width, nil)
}

func drawStaff(s theory.Score, voice string, style report.Style, labels bool, width int, silent []bool) string {
	view := engrave.View{ASCII: style.ASCII, Width: width, Silent: silent}
	if c, ok := engrave.VoiceClef(voice); ok {
		view.Clef = &c
	}
	if labels {
		view.Labels = s.Labels(style.Names, style.ASCII)
	}
	text, err := engrave.Text(s, view)
	if err != nil { // a made line can be shown
		text = err.Error() + "\n"
	}
	return text
}

// tell writes the result of a line.
func (v *Series) tell(sung session.LineSung) {
	record, asked, style := v.Run.Sung(sung), drill.LineAsked(sung), v.Run.Style
	head, measured := style.LineHead(record, asked)
	fmt.Fprintln(v.Results, head)
	if !measured {
		return
	}
	if sung.Echo {
		v.show(v.Results, sung.Melody.Score, nil)
	}
	fmt.Fprintf(v.Results, "%s\n%s", style.LineDetails(record, asked), record.Grade.NoteTable())
}

// Rows are the rows of a staff.
func Rows(text string) []string { return strings.Split(strings.TrimRight(text, "\n"), "\n") }

// FitStaff returns the rows of a staff where at most so many have room, 0: any number.
// Where they have none, the melody is written in a few lines, as tonic sol-fa, or what
// that has no signs for as ABC.
func FitStaff(style report.Style, s theory.Score, rows []string, width, height int) []string {
	if height == 0 || len(rows) <= height {
		return rows
	}
	text := ""
	if m, _, err := s.Melody(); err == nil {
		text, _ = m.Text(theory.Movable, style.ASCII)
	}
	if text == "" {
		var b strings.Builder
		if err := notation.Write(&b, s, notation.ABC); err != nil {
			return rows // a made melody can be written
		}
		_, text, _ = strings.Cut(b.String(), "\nK:")
		text = "K:" + text
	}
	out := []string{fmt.Sprintf("(a window of %d lines shows the staff)", len(rows)+StaffRoom)}
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			out, line = append(out, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(out, line)
}
