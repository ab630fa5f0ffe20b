package plain

import "strings"

// Nearest returns the word that is most like what was typed, the first of several;
// "" if none is like it: one that begins with it, or one in which no more than a
// third of the letters, and one, must be changed.
func Nearest(typed string, known []string) string {
	typed = strings.ToLower(typed)
	best, least := "", len(typed)/3+2
	for _, word := range known {
		d := distance(typed, word)
		if len(typed) >= 3 && strings.HasPrefix(word, typed) {
			d = 1
		}
		if d < least {
			best, least = word, d
		}
	}
	return best
}

// distance is the number of letters that must be put in, taken out or changed to
// make one word of the other (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			changed := before
			if a[i] != b[j] {
				changed++
			}
			before = row[j+1]
			row[j+1] = min(changed, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
