package choir

import (
	"fmt"
	"html"
	"io"
	"strings"

	"singback/internal/audio"
	"singback/internal/engrave"
	"singback/internal/notation"
	"singback/theory"
)

// File is one of the files that a choir practises with.
type File struct {
	Name  string
	Write func(io.Writer) error
}

// Practice are the files that a choir practises with: the whole as MusicXML, ABC and
// sound; of each part MusicXML, ABC, a picture, and its sound louder than the others,
// alone, and all but it; and a page that lists them. Their names are of small letters,
// digits and hyphens, and begin with the number of the part. louder is as in Gains.
func (c Choir) Practice(s Sound, louder float64) []File {
	var files []File
	add := func(name string, write func(io.Writer) error) { files = append(files, File{name, write}) }
	sound := func(name string, h Hear, mine int) {
		add(name, func(w io.Writer) error {
			return audio.WriteWAV(w, s.SampleRate, c.Samples(s, h.Gains(len(c.Parts), mine, louder)))
		})
	}
	parts := make([]notation.Part, len(c.Parts))
	for i, p := range c.Parts {
		parts[i] = p.Part
		if i > 0 { // what was lent is written once
			parts[i].Score.Symbols = nil
		}
	}
	all := func(f notation.Format) func(io.Writer) error {
		return func(w io.Writer) error { return notation.WriteParts(w, parts, f) }
	}
	add("all.musicxml", all(notation.MusicXML))
	add("all.abc", all(notation.ABC))
	sound("all.wav", All, 0)
	for i, p := range c.Parts {
		one := p.Part
		one.Score.Title = strings.TrimSpace(c.Title() + " (" + p.Name + ")")
		stem := c.stem(i)
		add(stem+".musicxml", func(w io.Writer) error {
			return notation.WriteParts(w, []notation.Part{one}, notation.MusicXML)
		})
		add(stem+".abc", func(w io.Writer) error { return notation.WriteParts(w, []notation.Part{one}, notation.ABC) })
		add(stem+".svg", func(w io.Writer) error {
			text, err := engrave.Printed(one.Score, engrave.View{Clef: p.View()})
			if err == nil {
				_, err = io.WriteString(w, text)
			}
			return err
		})
		sound(stem+"-louder.wav", Mine, i)
		sound(stem+"-alone.wav", Alone, i)
		sound(stem+"-others.wav", Others, i)
	}
	add("index.html", func(w io.Writer) error {
		_, err := io.WriteString(w, c.index(s, louder))
		return err
	})
	return files
}

// View is the clef that a part is drawn in: the one of its file, that of its voice, or
// nil for the one that fits.
func (p Part) View() *theory.Clef {
	if clef, err := theory.ParseClef(p.Clef); err == nil {
		return &clef
	}
	if clef, ok := engrave.VoiceClef(p.Voice.Name); ok && !p.Supposed {
		return &clef
	}
	return nil
}

// stem is what the names of the files of a part begin with: its number, and what of its
// name any file system takes.
func (c Choir) stem(i int) string {
	var b strings.Builder
	for _, r := range strings.ToLower(c.Parts[i].Name) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() == 30 {
			break
		}
	}
	digits := len(fmt.Sprint(len(c.Parts)))
	return strings.TrimRight(fmt.Sprintf("%0*d-%s", digits, i+1, b.String()), "-")
}

// index is the page that lists the files. It fetches nothing but them.
func (c Choir) index(s Sound, louder float64) string {
	var b strings.Builder
	title := html.EscapeString(c.Title())
	if title == "" {
		title = "Practice files"
	}
	player := func(name, what string) {
		fmt.Fprintf(&b, "<p>%s<br><audio controls preload=\"none\" src=\"%s\"></audio> <a href=\"%s\">%s</a></p>\n", what, name, name, name)
	}
	fmt.Fprintf(&b, `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>%s</title>
<style>body{font-family:sans-serif;max-width:60em;margin:1em auto;padding:0 1em}img{max-width:100%%;background:#fff}audio{vertical-align:middle}</style></head><body>
<h1>%s</h1>
<p>%s, %.0f quarter notes a minute, %s on A4 = %g Hz.</p>
<h2>All parts</h2>
`, title, title, html.EscapeString(c.Key().ASCII()), 60/s.Quarter, html.EscapeString(s.Tuning.String()), s.Tuning.A4)
	player("all.wav", "All together")
	b.WriteString("<p>Scores: <a href=\"all.musicxml\">MusicXML</a>, <a href=\"all.abc\">ABC</a></p>\n")
	for i, p := range c.Parts {
		name, stem := html.EscapeString(p.Name), c.stem(i)
		fmt.Fprintf(&b, "<h2>%s</h2>\n<p>%s to %s</p>\n<p><img src=\"%s.svg\" alt=\"%s as notes\"></p>\n", name, p.Reach.Low.ASCII(), p.Reach.High.ASCII(), stem, name)
		player(stem+"-louder.wav", fmt.Sprintf("The others %g dB softer", louder))
		player(stem+"-alone.wav", "Alone")
		player(stem+"-others.wav", "All but this part: sing it yourself")
		fmt.Fprintf(&b, "<p>Scores: <a href=\"%s.musicxml\">MusicXML</a>, <a href=\"%s.abc\">ABC</a></p>\n", stem, stem)
	}
	b.WriteString("</body></html>\n")
	return b.String()
}
