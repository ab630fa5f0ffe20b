package exercise

import (
	"math"
	"slices"

	"singback/theory"
)

// FineTolerance is the tolerance in cents below which the system of tuning
// decides whether an answer is in tune: equal, just and Pythagorean degrees lie
// up to 17.6 cents apart, the two sizes of a just re 21.5.
const FineTolerance = 20.0

// Clash is a system of tuning in which the degree asked lies further from the
// one the judge wants than the tolerance reaches, so that who sings in that
// system is called flat or sharp.
type Clash struct {
	Tuning theory.Tuning
	Cents  theory.Cents // of its degree above the one wanted
}

// Clashes returns the systems that collide with a tolerance under
// FineTolerance, each size of the degree once; none under a wider tolerance.
func Clashes(it Item, tol Tolerance) []Clash {
	if tol.Cents >= FineTolerance {
		return nil
	}
	var clashes []Clash
	for _, t := range []theory.Tuning{
		{System: theory.Equal}, {System: theory.Just}, {System: theory.Just, SmallRe: true},
		{System: theory.Just, SmallTe: true}, {System: theory.Pythagorean},
	} {
		t.A4 = it.Tuning.A4
		c := Clash{t, t.Cents(it.Asked) - it.Tuning.Cents(it.Asked)}
		known := slices.ContainsFunc(clashes, func(o Clash) bool { return math.Abs(o.Cents-c.Cents) < 1e-6 })
		if math.Abs(c.Cents) > tol.Cents && !known {
			clashes = append(clashes, c)
		}
	}
	return clashes
}
