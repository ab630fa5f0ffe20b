package tui

import "strings"

// bannerRows is the height of a banner in lines.
const bannerRows = 5

// glyphs draws the characters that names of degrees are made of, five rows
// each, "#" for a filled cell.
var glyphs = map[rune][bannerRows]string{
	'a': {" ### ", "    #", " ####", "#   #", " ####"},
	'b': {"#    ", "#    ", "#### ", "#   #", "#### "},
	'd': {"    #", "    #", " ####", "#   #", " ####"},
	'e': {" ### ", "#   #", "#####", "#    ", " ####"},
	'f': {"  ##", " #  ", "####", " #  ", " #  "},
	'i': {"#", " ", "#", "#", "#"},
	'l': {"#", "#", "#", "#", "#"},
	'm': {"       ", "       ", "###### ", "#  #  #", "#  #  #"},
	'n': {"     ", "     ", "#### ", "#   #", "#   #"},
	'o': {"     ", "     ", " ### ", "#   #", " ### "},
	'r': {"    ", "    ", "# ##", "##  ", "#   "},
	's': {" ####", "#    ", " ### ", "    #", "#### "},
	't': {" #  ", "####", " #  ", " #  ", "  ##"},
	'A': {" ### ", "#   #", "#####", "#   #", "#   #"},
	'B': {"#### ", "#   #", "#### ", "#   #", "#### "},
	'C': {" ####", "#    ", "#    ", "#    ", " ####"},
	'D': {"#### ", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "###  ", "#    ", "#####"},
	'F': {"#####", "#    ", "###  ", "#    ", "#    "},
	'G': {" ####", "#    ", "#  ##", "#   #", " ####"},
	'1': {" # ", "## ", " # ", " # ", "###"},
	'2': {"### ", "   #", " ## ", "#   ", "####"},
	'3': {"### ", "   #", " ## ", "   #", "### "},
	'4': {"#  #", "#  #", "####", "   #", "   #"},
	'5': {"####", "#   ", "### ", "   #", "### "},
	'6': {" ## ", "#   ", "### ", "#  #", " ## "},
	'7': {"####", "   #", "  # ", " #  ", " #  "},
	'#': {" # # ", "#####", " # # ", "#####", " # # "},
	'♯': {" # # ", "#####", " # # ", "#####", " # # "},
	'♭': {"#   ", "#   ", "### ", "#  #", "### "},
	'♮': {"#   ", "#  #", "####", "#  #", "   #"},
	'𝄪': {"     ", "#   #", " # # ", " # # ", "#   #"},
	'𝄫': {"#   #   ", "#   #   ", "### ### ", "#  ##  #", "### ### "},
}

// banner draws a name in large letters. A name with a character that it cannot
// draw stays as it is, in the middle row.
func banner(name string, ascii bool) [bannerRows]string {
	var rows [bannerRows]string
	for i, r := range []rune(name) {
		g, ok := glyphs[r]
		if !ok {
			return [bannerRows]string{2: name}
		}
		for j := range rows {
			if i > 0 {
				rows[j] += "  "
			}
			rows[j] += g[j]
		}
	}
	// Two cells a dot, so that a dot is about as wide as it is high.
	dot := "██"
	if ascii {
		dot = "##"
	}
	paint := strings.NewReplacer("#", dot, " ", "  ")
	for j := range rows {
		rows[j] = paint.Replace(rows[j])
	}
	return rows
}
