package main

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"singback/internal/cli"
)

// progressPage has singback write the page of a record that is in a file of export.
func progressPage(export string) (page string, err error) {
	dir, err := os.MkdirTemp("", "singback-pictures")
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	record, file := filepath.Join(dir, "anna.db"), filepath.Join(dir, "anna.html")
	for _, args := range [][]string{
		{"record", "import", export, "--record", record},
		{"progress", "--record", record, "--singer", "Anna", "--html", file},
	} {
		var said bytes.Buffer
		if code := cli.Main(args, strings.NewReader(""), io.Discard, &said); code != 0 {
			return "", fmt.Errorf("singback %s: exit %d: %s", strings.Join(args, " "), code, &said)
		}
	}
	b, err := os.ReadFile(file)
	return string(b), err
}

// The size of the picture of a page, in pixels, and how many letters fit a line.
const (
	pageWidth, pageHeight = 620, 944
	pageMargin            = 28
	lineLetters           = 98
)

// element finds what the picture shows of a page, in its order.
var element = regexp.MustCompile(`(?s)<(h1|h2|p|li)>(.*?)</(?:h1|h2|p|li)>|<svg ([^>]*)>(.*?)</svg>`)

var attribute = regexp.MustCompile(`(width|height|viewBox)="([\d. ]+)(?:pt)?"`)

// drawPage draws the beginning of a page, as much as there is room for.
func drawPage(page string) (string, error) {
	_, body, ok := strings.Cut(page, "<body>")
	if !ok {
		return "", errors.New("the page has no body")
	}
	var b strings.Builder
	y := pageMargin
	text := func(s string, size, weight, lines int) {
		for _, line := range wrapped(html.UnescapeString(s), lines) {
			y += size + size/2
			fmt.Fprintf(&b, `<text x="%d" y="%d" font-size="%d" font-weight="%d">%s</text>`+"\n", pageMargin, y, size, weight, html.EscapeString(line))
		}
	}
	charts := 0
	for _, m := range element.FindAllStringSubmatch(body, -1) {
		switch {
		case m[1] == "h1":
			text(m[2], 22, 700, lineLetters)
			y += 4
		case m[1] == "h2":
			y += 14
			text(m[2], 16, 700, lineLetters)
			y += 2
		case m[1] == "p":
			text(m[2], 12, 400, lineLetters)
		case m[1] == "li":
			text("•  "+m[2], 12, 400, lineLetters)
		default:
			charts++
			var width, height float64
			viewBox := ""
			for _, a := range attribute.FindAllStringSubmatch(m[3], -1) {
				switch a[1] {
				case "width":
					fmt.Sscan(a[2], &width)
				case "height":
					fmt.Sscan(a[2], &height)
				default:
					viewBox = a[2]
				}
			}
			if width == 0 || height == 0 || viewBox == "" {
				return "", fmt.Errorf("chart %d has no size", charts)
			}
			scaled := int(height * (pageWidth - 2*pageMargin) / width)
			y += 6
			fmt.Fprintf(&b, `<svg x="%d" y="%d" width="%d" height="%d" viewBox="%s">%s</svg>`+"\n", pageMargin, y, pageWidth-2*pageMargin, scaled, viewBox, tight(m[4]))
			y += scaled
		}
		if y > pageHeight {
			break
		}
	}
	if charts < 1 {
		return "", errors.New("there is no room for a chart")
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %[1]d %[2]d" role="img">
<title>a page: the progress of an invented singer</title>
<rect x="0.5" y="0.5" width="%d" height="%d" rx="8" fill="#ffffff" stroke="#c8cdd4"/>
<g font-family="Liberation Sans,Arimo,Helvetica,Arial,sans-serif" fill="#1b1f24">
%s</g>
</svg>
`, pageWidth, pageHeight, pageWidth-1, pageHeight-1, &b), nil
}

// tight leaves out of a chart what says nothing: its style stands in every text.
func tight(svg string) string {
	return strings.NewReplacer("font-family:Liberation Sans,Arimo,Helvetica,Arial,sans-serif;font-variant:normal;font-weight:normal;font-style:normal;", "", "\n\t", " ").Replace(svg)
}

// wrapped breaks a text into lines of so many letters.
func wrapped(text string, letters int) (lines []string) {
	for _, word := range strings.Fields(text) {
		if n := len(lines) - 1; n >= 0 && len([]rune(lines[n]+" "+word)) <= letters {
			lines[n] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}
