package grade

import "singback/theory"

// KeyAt is how far the key that a take was judged by lies above the line at a time in
// seconds of the take, in cents, octaves included: a sung note less this is compared
// with the written one.
func (g *Grading) KeyAt(seconds float64) theory.Cents { return g.keyAt(seconds) }
