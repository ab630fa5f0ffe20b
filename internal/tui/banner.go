package tui

import "strings"

// bannerRows is the height of a banner in lines.
const bannerRows = 5

// glyphs draws the characters that names of degrees and verdicts are made of,
// five rows each, "#" for a filled cell. Small letters are as high as capitals:
// from a distance height is what counts.
var glyphs = map[rune][bannerRows]string{
	'a': {" ### ", "    #", " ####", "#   #", " ####"},
	'b': {"#    ", "#    ", "#### ", "#   #", "#### "},
	'd': {"    #", "    #", " ####", "#   #", " ####"},
	'e': {" ### ", "#   #", "#####", "#    ", " ####"},
	'f': {"  ##", " #  ", "####", " #  ", " #  "},
	'g': {" ####", "#   #", " ####", "    #", " ### "},
	'i': {"#", " ", "#", "#", "#"},
	'l': {"#", "#", "#", "#", "#"},
	'm': {"###### ", "#  #  #", "#  #  #", "#  #  #", "#  #  #"},
	'n': {"#### ", "#   #", "#   #", "#   #", "#   #"},
	'o': {" ### ", "#   #", "#   #", "#   #", " ### "},
	'r': {"# ##", "##  ", "#   ", "#   ", "#   "},
	's': {" ####", "#    ", " ### ", "    #", "#### "},
	't': {" #  ", "####", " #  ", " #  ", "  ##"},
	'v': {"#   #", "#   #", "#   #", " # # ", "  #  "},
	'A': {" ### ", "#   #", "#####", "#   #", "#   #"},
	'B': {"#### ", "#   #", "#### ", "#   #", "#### "},
	'C': {" ####", "#    ", "#    ", "#    ", " ####"},
	'D': {"#### ", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "###  ", "#    ", "#####"},
	'F': {"#####", "#    ", "###  ", "#    ", "#    "},
	'G': {" ####", "#    ", "#  ##", "#   #", " ####"},
	'0': {" ## ", "#  #", "#  #", "#  #", " ## "},
	'1': {" # ", "## ", " # ", " # ", "###"},
	'2': {"### ", "   #", " ## ", "#   ", "####"},
	'3': {"### ", "   #", " ## ", "   #", "### "},
	'4': {"#  #", "#  #", "####", "   #", "   #"},
	'5': {"####", "#   ", "### ", "   #", "### "},
	'6': {" ## ", "#   ", "### ", "#  #", " ## "},
	'7': {"####", "   #", "  # ", " #  ", " #  "},
	'8': {" ## ", "#  #", " ## ", "#  #", " ## "},
	'9': {" ## ", "#  #", " ###", "   #", " ## "},
	' ': {"  ", "  ", "  ", "  ", "  "},
	'+': {"     ", "  #  ", "#####", "  #  ", "     "},
	'-': {"     ", "     ", "#####", "     ", "     "},
	'~': {"       ", " ##    ", "#  #  #", "    ## ", "       "},
	'?': {"### ", "   #", " ## ", "    ", " #  "},
	'#': {" # # ", "#####", " # # ", "#####", " # # "},
	'♯': {" # # ", "#####", " # # ", "#####", " # # "},
	'♭': {"#   ", "#   ", "### ", "#  #", "### "},
	'♮': {"#   ", "#  #", "####", "#  #", "   #"},
	'𝄪': {"     ", "#   #", " # # ", " # # ", "#   #"},
	'𝄫': {"#   #   ", "#   #   ", "### ### ", "#  ##  #", "### ### "},
}

// banner draws a text in large letters, at most width cells wide: a dot is two
// cells wide, so that it is about as wide as it is high, or one where that does
// not fit. A text that cannot be drawn so stays as it is, in the middle row.
func banner(text string, ascii bool, width int) [bannerRows]string {
	var rows [bannerRows]string
	for i, r := range []rune(text) {
		g, ok := glyphs[r]
		if !ok {
			return [bannerRows]string{2: text}
		}
		for j := range rows {
			if i > 0 {
				rows[j] += "  "
			}
			rows[j] += g[j]
		}
	}
	ink := "█"
	if ascii {
		ink = "#"
	}
	dot := 2
	if n := len(rows[0]); n > width {
		return [bannerRows]string{2: text}
	} else if 2*n > width {
		dot = 1
	}
	paint := strings.NewReplacer("#", strings.Repeat(ink, dot), " ", strings.Repeat(" ", dot))
	for j := range rows {
		rows[j] = strings.TrimRight(paint.Replace(rows[j]), " ")
	}
	return rows
}
