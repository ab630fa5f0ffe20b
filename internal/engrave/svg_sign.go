package engrave

import (
	"strconv"

	"singback/theory"
)

// glyph draws a path given in staff spaces, with its origin at x, y.
func (e *engraver) glyph(x, y float64, d, style string) {
	e.put(`<path transform="translate(% %) scale(10)" d="`+d+`" `+style+"/>", x, y)
}

const (
	filled  = `stroke="none"`
	stroked = `fill="none" stroke-linecap="round" stroke-linejoin="round" stroke-width=`
)

// The glyphs, in staff spaces from their origin: drawn for this program.
const (
	blackHead = "M0.58 -0.21C0.68 0.06 0.38 0.36 0.02 0.43C-0.33 0.5 -0.54 0.42 -0.6 0.21C-0.68 -0.06 -0.38 -0.36 -0.02 -0.43C0.33 -0.5 0.54 -0.42 0.6 -0.21Z"
	halfHead  = "M0.58 -0.21C0.68 0.06 0.38 0.36 0.02 0.43C-0.33 0.5 -0.54 0.42 -0.6 0.21C-0.68 -0.06 -0.38 -0.36 -0.02 -0.43C0.33 -0.5 0.54 -0.42 0.58 -0.21Z" +
		"M0.48 -0.26C0.42 -0.37 0.12 -0.22 -0.08 -0.1C-0.3 0.04 -0.54 0.2 -0.48 0.28C-0.42 0.37 -0.12 0.22 0.08 0.1C0.3 -0.04 0.54 -0.18 0.48 -0.26Z"
	wholeHead = "M0.85 0C0.85 0.3 0.45 0.48 0 0.48C-0.45 0.48 -0.85 0.3 -0.85 0C-0.85 -0.3 -0.45 -0.48 0 -0.48C0.45 -0.48 0.85 -0.3 0.85 0Z" +
		"M0.38 0.1C0.34 -0.2 0.02 -0.41 -0.2 -0.38C-0.4 -0.34 -0.42 -0.2 -0.38 -0.1C-0.32 0.2 -0.02 0.41 0.2 0.38C0.4 0.34 0.42 0.2 0.38 0.1Z"
	trebleClef = "M0.08 0.42C-0.42 0.38 -0.58 -0.1 -0.32 -0.46C-0.02 -0.86 0.66 -0.76 0.86 -0.2C1.06 0.4 0.62 1 -0.08 1.02C-0.88 1.04 -1.4 0.46 -1.34 -0.34C-1.26 -1.5 0.3 -2.1 0.56 -3.3C0.7 -3.96 0.56 -4.56 0.3 -4.6C0 -4.62 -0.34 -3.9 -0.3 -3.2C-0.26 -2.4 0.16 0.4 0.36 1.8C0.44 2.5 -0.06 2.76 -0.42 2.6"
	trebleDot  = "M-0.12 2.3A0.33 0.33 0 1 1 -0.78 2.3A0.33 0.33 0 1 1 -0.12 2.3Z"
	bassClef   = "M-0.9 0C-0.9 0.42 -0.3 0.42 -0.25 0C-0.22 -0.4 -0.6 -0.5 -0.86 -0.3M-0.9 0.05C-1.02 -0.7 -0.4 -1.02 0.1 -0.98C0.8 -0.92 1.1 -0.3 1.02 0.3C0.86 1.3 -0.1 2.1 -1.1 2.5"
	bassDots   = "M-0.3 0A0.32 0.32 0 1 1 -0.94 0A0.32 0.32 0 1 1 -0.3 0ZM1.72 -0.5A0.19 0.19 0 1 1 1.34 -0.5A0.19 0.19 0 1 1 1.72 -0.5ZM1.72 0.5A0.19 0.19 0 1 1 1.34 0.5A0.19 0.19 0 1 1 1.72 0.5Z"
	sharpSign  = "M-0.17 -1.3V1.42M0.17 -1.42V1.3"
	sharpBars  = "M-0.46 -0.28L0.46 -0.56V-0.26L-0.46 0.02ZM-0.46 0.56L0.46 0.28V0.58L-0.46 0.86Z"
	flatSign   = "M-0.34 -1.7V0.66"
	flatBowl   = "M-0.34 0.72V-0.16C-0.1 -0.48 0.42 -0.46 0.42 -0.06C0.42 0.3 0 0.5 -0.34 0.72ZM-0.24 0.42C0 0.26 0.14 0.1 0.14 -0.08C0.14 -0.3 -0.1 -0.26 -0.24 -0.06Z"
	natural    = "M-0.3 -1.35V0.6M0.3 -0.6V1.35"
	naturalBar = "M-0.34 -0.24L0.34 -0.5V-0.2L-0.34 0.06ZM-0.34 0.44L0.34 0.18V0.48L-0.34 0.74Z"
	doubleX    = "M-0.42 -0.42L0.42 0.42M-0.42 0.42L0.42 -0.42"
	doubleEnds = "M-0.54 -0.54H-0.26V-0.26H-0.54ZM0.54 -0.54H0.26V-0.26H0.54ZM-0.54 0.54H-0.26V0.26H-0.54ZM0.54 0.54H0.26V0.26H0.54Z"
	quarterRst = "M-0.3 -1.45L0.36 -0.62C-0.08 -0.22 -0.04 0.02 0.42 0.62C-0.06 0.4 -0.42 0.52 -0.1 1.34C-0.72 0.72 -0.5 0.2 0.02 0.34L-0.4 -0.28C0 -0.68 0 -0.9 -0.34 -1.38Z"
	flagUp     = "M0 0C0.1 0.8 1.06 1.1 1 2.1C0.98 2.5 0.86 2.8 0.74 3C0.98 2 0.6 1.36 0 1.2Z"
	flagDown   = "M0 0C0.1 -0.8 1.06 -1.1 1 -2.1C0.98 -2.5 0.86 -2.8 0.74 -3C0.98 -2 0.6 -1.36 0 -1.2Z"
	restFlag   = "M0.42 -0.52C0.2 -0.3 -0.06 -0.24 -0.24 -0.28"
	restDot    = "M-0.12 -0.46A0.24 0.24 0 1 1 -0.6 -0.46A0.24 0.24 0 1 1 -0.12 -0.46Z"
)

// sign draws an accidental and returns its width.
func (e *engraver) sign(x, y float64, alter int8) {
	switch {
	case alter == 2:
		e.glyph(x, y, doubleX, stroked+`"0.16"`)
		e.glyph(x, y, doubleEnds, filled)
	case alter > 0:
		for i := range int(alter) {
			e.glyph(x-float64(i)*space, y, sharpSign, stroked+`"0.12"`)
			e.glyph(x-float64(i)*space, y, sharpBars, filled)
		}
	case alter < 0:
		for i := range int(-alter) {
			e.glyph(x-float64(i)*0.85*space, y, flatSign, stroked+`"0.12"`)
			e.glyph(x-float64(i)*0.85*space, y, flatBowl, filled+` fill-rule="evenodd"`)
		}
	default:
		e.glyph(x, y, natural, stroked+`"0.12"`)
		e.glyph(x, y, naturalBar, filled)
	}
}

func signWidth(alter int8) float64 {
	switch {
	case alter == 2 || alter >= -1 && alter <= 1:
		return 1.15 * space
	case alter < 0:
		return (0.3 + 0.85*float64(-alter)) * space
	}
	return float64(alter) * 1.1 * space
}

func (e *engraver) drawClef(x float64) {
	if e.clef == theory.BassClef {
		e.glyph(x-0.1*space, e.y(6), bassClef, stroked+`"0.24"`)
		e.glyph(x-0.1*space, e.y(6), bassDots, filled)
		return
	}
	e.glyph(x-0.2*space, e.y(2), trebleClef, stroked+`"0.22"`)
	e.glyph(x-0.2*space, e.y(2), trebleDot, filled)
	if e.clef == theory.TrebleDownClef {
		e.text(x-0.1*space, e.y(2)+4.1*space, `font-family="serif" font-size="13" text-anchor="middle"`, "8")
	}
}

// drawKey draws a signature and returns where it ends.
func (e *engraver) drawKey(x float64, k, before theory.Key) float64 {
	places, alter := signatureOn(e.clef, k.Signature())
	if len(places) == 0 {
		places, _ = signatureOn(e.clef, before.Signature())
		alter = 0
	}
	for _, p := range places {
		e.sign(x+0.5*space, e.y(p), alter)
		x += space
	}
	return x
}

func (e *engraver) drawMeter(x float64, m theory.Meter) {
	for i, n := range []int{m.Beats, m.Unit} {
		e.text(x, e.top+(2*float64(i)+1.92)*space, `font-family="serif" font-weight="bold" font-size="27" text-anchor="middle"`, strconv.Itoa(n))
	}
}
