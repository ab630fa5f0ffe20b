package report

import "fmt"

// Many says how many of a thing there are: "1 second", "0.5 seconds", "3 melodies".
func Many[N int | float64](n N, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%v %s", n, plural(thing))
}

// plural is the plural of a word, or of the last of some.
func plural(thing string) string {
	if n := len(thing) - 1; n > 0 && thing[n] == 'y' && thing[n-1] != 'a' && thing[n-1] != 'e' && thing[n-1] != 'o' {
		return thing[:n] + "ies"
	}
	return thing + "s"
}
