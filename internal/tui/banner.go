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
	'→': {"  #  ", "   # ", "#####", "   # ", "  #  "},
	'♯': {" # # ", "#####", " # # ", "#####", " # # "},
	'♭': {"#   ", "#   ", "### ", "#  #", "### "},
	'♮': {"#   ", "#  #", "####", "#  #", "   #"},
	'𝄪': {"     ", "#   #", " # # ", " # # ", "#   #"},
	'𝄫': {"#   #   ", "#   #   ", "### ### ", "#  ##  #", "### ### "},
}

// asTyped is a text that cannot be drawn in large letters, in the middle row.
func asTyped(text string) []string { return []string{2: text, bannerRows - 1: ""} }

// dots returns how many dots wide a text is in large letters; false where it has a
// character that there is no letter for.
func dots(text string) (n int, ok bool) {
	for i, r := range []rune(text) {
		g, ok := glyphs[r]
		if !ok {
			return 0, false
		}
		if i > 0 {
			n += 2
		}
		n += len(g[0])
	}
	return n, true
}

// banner draws a text in large letters, at most width cells wide. A dot is up to
// scale rows high and twice as many cells wide, so that it is about as wide as it is
// high; down to half as wide again as high where that does not fit, or to one cell.
func banner(text string, ascii bool, width, scale int) []string {
	n, ok := dots(text)
	if !ok || n == 0 || n > width {
		return asTyped(text)
	}
	var rows [bannerRows]string
	for i, r := range []rune(text) {
		for j := range rows {
			if i > 0 {
				rows[j] += "  "
			}
			rows[j] += glyphs[r][j]
		}
	}
	ink := "█"
	if ascii {
		ink = "#"
	}
	high := max(1, min(scale, 2*(width/n)/3))
	wide := min(2*high, width/n)
	paint := strings.NewReplacer("#", strings.Repeat(ink, wide), " ", strings.Repeat(" ", wide))
	out := make([]string, 0, bannerRows*high)
	for _, row := range rows {
		row = strings.TrimRight(paint.Replace(row), " ")
		for range high {
			out = append(out, row)
		}
	}
	return out
}
