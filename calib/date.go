package calib

import (
	"cmp"
	"time"
)

// plus is the day so many days later. The zero Date stays.
func (d Date) plus(days int) Date {
	if d == (Date{}) {
		return d
	}
	y, m, day := time.Date(d.Year, time.Month(d.Month), d.Day+days, 12, 0, 0, 0, time.UTC).Date()
	return Date{y, int(m), day}
}

// Again is when a growing voice is to be tested again: 6 to 8 weeks after it
// was (Cooksey, after secondary sources). ok is false for other voices.
func (v Voice) Again() (from, to Date, ok bool) {
	if !v.Growing {
		return Date{}, Date{}, false
	}
	return v.Date.plus(6 * 7), v.Date.plus(8 * 7), true
}

// Due tells that a growing voice is to be tested again by a day: 6 weeks after it
// was, or later.
func (v Voice) Due(day Date) bool {
	from, _, ok := v.Again()
	return ok && v.Date != (Date{}) && day.compare(from) >= 0
}

// compare is negative where d lies before other, and positive where after.
func (d Date) compare(other Date) int {
	return cmp.Or(cmp.Compare(d.Year, other.Year), cmp.Compare(d.Month, other.Month), cmp.Compare(d.Day, other.Day))
}
