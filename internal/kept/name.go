package kept

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"singback/calib"
)

// DefaultName is what a singer is called who has given no name.
const DefaultName = "me"

// Nobody is the name that stands for no profile at all; no singer has it.
const Nobody = "none"

// CheckName reports a name that no file may have everywhere: letters, digits,
// spaces, - and _ are allowed within it. The error is a [calib.Invalid].
func CheckName(name string) error {
	bad := func(format string, args ...any) error {
		return calib.Invalid{Field: "name", Problem: fmt.Sprintf(format, args...)}
	}
	switch n := len([]rune(name)); {
	case n == 0:
		return bad("it is missing")
	case n > calib.MaxName || len(name) > 160:
		return bad("%d characters: want %d at most", n, calib.MaxName)
	}
	for i, r := range name {
		inner := i > 0 && (r == ' ' || r == '-' || r == '_') || unicode.IsMark(r)
		if r == unicode.ReplacementChar || !unicode.IsLetter(r) && !unicode.IsDigit(r) && !inner {
			return bad("%q: want letters, digits and, within it, spaces, - or _", name)
		}
	}
	if strings.HasSuffix(name, " ") {
		return bad("%q: want no space at its end", name)
	}
	if slices.Contains(reserved, strings.ToLower(name)) {
		return bad("%q cannot be used: choose another", name)
	}
	return nil
}

// reserved are the names of no singer: ours, and of devices on some systems.
var reserved = strings.Fields(Nobody + ` con prn aux nul
	com1 com2 com3 com4 com5 com6 com7 com8 com9 lpt1 lpt2 lpt3 lpt4 lpt5 lpt6 lpt7 lpt8 lpt9`)
