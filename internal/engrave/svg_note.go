package engrave

import (
	"math"
	"strconv"
)

// drawItems draws the notes and rests of a bar.
func (e *engraver) drawItems(m *measure) {
	for i := range m.items {
		it := &m.items[i]
		if it.Rest {
			e.drawRest(it)
			continue
		}
		y := e.y(it.place)
		switch {
		case it.Value >= 4:
			e.glyph(it.x, y, blackHead, filled)
		case it.Value == 2:
			e.glyph(it.x, y, halfHead, filled+` fill-rule="evenodd"`)
		default:
			e.glyph(it.x, y, wholeHead, filled+` fill-rule="evenodd"`)
			if it.Value == 0 {
				e.line(it.x-1.1*space, y-0.6*space, it.x-1.1*space, y+0.6*space, thin)
				e.line(it.x+1.1*space, y-0.6*space, it.x+1.1*space, y+0.6*space, thin)
			}
		}
		for l := -2; l >= it.place; l -= 2 {
			e.line(it.x-1.05*space, e.y(l), it.x+1.05*space, e.y(l), 1.2)
		}
		for l := 10; l <= it.place; l += 2 {
			e.line(it.x-1.05*space, e.y(l), it.x+1.05*space, e.y(l), 1.2)
		}
		if it.sign {
			e.sign(it.x-1.45*space, y, it.Pitch.Alter)
		}
		e.dots(it, y)
		if e.view.silent(it.Piece) {
			e.brackets(it, y)
		}
		if it.Value >= 2 && it.Beam == 0 {
			e.drawStem(it, y)
		}
	}
	for i := 0; i < len(m.items); {
		j := i + 1
		for m.items[i].Beam > 0 && j < len(m.items) && m.items[j].Beam == m.items[i].Beam {
			j++
		}
		if m.items[i].Beam > 0 {
			e.drawBeam(m, i, j)
		}
		i = j
	}
	e.tuplets(m.items)
}

// brackets draws those of a note that is heard inwardly.
func (e *engraver) brackets(it *item, y float64) {
	left, right := it.x-1.0*space, it.x+1.0*space
	if it.sign {
		left -= signWidth(it.Pitch.Alter)
	}
	if it.Dots > 0 {
		right += (0.4 + 0.6*float64(it.Dots)) * space
	}
	arc := "M% %q% % 0 %"
	for _, side := range [2][2]float64{{left, -0.5 * space}, {right, 0.5 * space}} {
		e.path(`class="silent" fill="none"`, arc, side[0], y-0.8*space, side[1], 0.8*space, 1.6*space)
	}
}

func (e *engraver) dots(it *item, y float64) {
	if it.place%2 == 0 {
		y -= space / 2 // beside a line: in the space above
	}
	for d := range it.Dots {
		e.put(`<circle cx="%" cy="%" r="%" stroke="none"/>`, it.x+(1.15+0.6*float64(d))*space, y, 0.19*space)
	}
}

// stemX is where the stem stands.
func (it *item) stemX() float64 {
	if it.up {
		return it.x + 0.55*space
	}
	return it.x - 0.55*space
}

func (e *engraver) drawStem(it *item, y float64) {
	x, dir := it.stemX(), 1.0
	from := y + 0.18*space
	if it.up {
		dir, from = -1, y-0.18*space
	}
	length := stem
	if n := Flags(it.Value); n > 2 {
		length += float64(n-2) * 0.8 * space
	}
	to := y + dir*length
	// Far from the staff a stem reaches the middle line.
	if middle := e.y(4); (to-middle)*dir < 0 {
		to = middle
	}
	e.line(x, from, x, to, thin)
	it.tip = to
	for k := range Flags(it.Value) {
		shape := flagUp
		if !it.up {
			shape = flagDown
		}
		e.glyph(x, to-dir*float64(k)*0.8*space, shape, filled)
	}
}

// drawBeam draws the stems and beams of a group: the pieces of a bar from first to
// before end.
func (e *engraver) drawBeam(m *measure, first, end int) {
	items := m.items[first:end]
	dir := 1.0
	if items[0].up {
		dir = -1
	}
	n := len(items)
	x0, x1 := items[0].stemX(), items[n-1].stemX()
	y0, y1 := e.y(items[0].place), e.y(items[n-1].place)
	// The beam leans with the notes, at most a space.
	slope := math.Max(-0.8*space, math.Min(0.8*space, (y1-y0)/2)) / math.Max(1, x1-x0)
	levels := 1
	for _, it := range items {
		levels = max(levels, Flags(it.Value))
	}
	shortest := 3.0*space + float64(levels-1)*0.5*space
	// Far enough from every head, and from the middle line.
	base := math.Inf(-1)
	for _, it := range items {
		want := e.y(it.place) + dir*shortest
		if middle := e.y(4); (want-middle)*dir < 0 {
			want = middle
		}
		base = math.Max(base, dir*(want-slope*(it.stemX()-x0)))
	}
	base *= dir
	beamY := func(x float64) float64 { return base + slope*(x-x0) }
	for i := range items {
		it := &items[i]
		y := e.y(it.place) + dir*0.18*space
		it.tip = beamY(it.stemX())
		e.line(it.stemX(), y, it.stemX(), it.tip, thin)
	}
	const thick = 0.5 * space
	for level := 1; level <= levels; level++ {
		off := -dir * float64(level-1) * 0.8 * space
		for i := 0; i < n; {
			if Flags(items[i].Value) < level {
				i++
				continue
			}
			j := i
			for j+1 < n && Flags(items[j+1].Value) >= level {
				j++
			}
			from, to := items[i].stemX(), items[j].stemX()
			if i == j { // a hook towards its neighbour
				if to = from + 1.1*space; m.Backward(first+i, level) {
					from, to = from-1.1*space, from
				}
			}
			from, to = from-thin/2, to+thin/2
			a, b := beamY(from)+off, beamY(to)+off
			e.path(filled, "M% %L% %V%L% %Z", from, a, to, b, b-dir*thick, from, a-dir*thick)
			i = j + 1
		}
	}
}

// tuplets writes the number of each tuplet on the side of its beam, with a
// bracket where there is none.
func (e *engraver) tuplets(items []item) {
	for i := 0; i < len(items); i++ {
		if !items[i].Opens {
			continue
		}
		j := i
		for j+1 < len(items) && !items[j].Closes {
			j++
		}
		beamed := items[i].Beam > 0 && items[i].Beam == items[j].Beam
		dir := -1.0
		if beamed && !items[i].up {
			dir = 1
		}
		y := e.top + 2*space + dir*space // never within the staff's middle
		if !beamed {
			y = e.top
		}
		for _, it := range items[i : j+1] {
			if edge := it.tip; !it.Rest && it.up == (dir < 0) && (edge-y)*dir > 0 {
				y = edge
			}
			if edge := e.y(it.place); (edge-y)*dir > 0 {
				y = edge
			}
		}
		y += dir * 0.8 * space
		x := (items[i].x + items[j].x) / 2
		if items[i].up {
			x += 0.55 * space
		}
		e.text(x, y+0.45*space, `font-family="serif" font-style="italic" font-size="14" text-anchor="middle"`, strconv.Itoa(items[i].Tuplet))
		if !beamed {
			for _, side := range [][3]float64{{items[i].x - 0.7*space, x - 0.8*space, 1}, {items[j].x + 0.7*space, x + 0.8*space, 1}} {
				e.path(`fill="none"`, "M% %V%H%", side[0], y+0.6*space, y, side[1])
			}
		}
		i = j
	}
}

func (e *engraver) drawRest(it *item) {
	rect := func(y float64) {
		e.put(`<rect x="%" y="%" width="%" height="%" stroke="none"/>`, it.x-0.6*space, y, 1.2*space, space/2)
	}
	switch {
	case it.Value <= 1:
		rect(e.y(6))
	case it.Value == 2:
		rect(e.y(4) - space/2)
	case it.Value == 4:
		e.glyph(it.x, e.y(4), quarterRst, filled)
	default:
		n := Flags(it.Value)
		y := e.y(4)
		bottom := y + (0.5+0.5*float64(n))*space
		e.line(it.x+0.42*space, y-0.56*space, it.x+(0.42-0.3*float64(n+1)/2)*space, bottom, thin)
		for k := range n {
			x := it.x - 0.14*float64(k)*space
			e.glyph(x, y+float64(k)*space, restDot, filled)
			e.glyph(x, y+float64(k)*space, restFlag, stroked+`"0.14"`)
		}
	}
	e.dots(&item{Piece: it.Piece, x: it.x, place: 4}, e.y(4))
}

// ties draws the ties and slurs of a system; those that leave it or come into it
// end at its edge.
func (e *engraver) ties(ms []measure, from, to float64) {
	bend := func(x0, y0, x1, y1, rise float64, stemsUp bool) {
		dir := -1.0
		if stemsUp {
			dir = 1 // below the heads
		}
		y0, y1 = y0+dir*0.7*space, y1+dir*0.7*space
		w := x1 - x0
		arc := func(rise float64) (float64, float64) { return y0 + dir*rise, y1 + dir*rise }
		a0, a1 := arc(rise)
		b0, b1 := arc(rise + 2.2)
		e.path(`stroke-width="0.5"`, "M% %C% % % % % %C% % % % % %Z", x0, y0, x0+w/4, a0, x1-w/4, a1, x1, y1, x1-w/4, b1, x0+w/4, b0, x0, y0)
	}
	tie := func(x0, y0, x1, y1 float64, up bool) {
		bend(x0, y0, x1, y1, math.Min(1.4, 0.6+math.Abs(x1-x0)/(20*space))*space, up)
	}
	var all []*item
	for i := range ms {
		for j := range ms[i].items {
			all = append(all, &ms[i].items[j])
		}
	}
	slurred := func(i int) bool { return all[i].Slur && !all[i].Rest }
	inside := func(it *item) bool {
		return it.Note > 0 && e.score.Notes[it.Note-1].Slur && !e.score.Notes[it.Note-1].Rest
	}
	for i, it := range all {
		y := e.y(it.place)
		switch {
		case it.TiedTo && i+1 < len(all):
			tie(it.x+0.3*space, y, all[i+1].x-0.3*space, y, it.up)
		case it.TiedTo:
			tie(it.x+0.3*space, y, to, y, it.up)
		}
		if i == 0 && it.TiedFrom {
			tie(from-0.8*space, y, it.x-0.3*space, y, it.up)
		}
		// One slur from the first to the last of the notes it joins.
		first := !it.Rest && e.score.Notes[it.Note].Slur && !it.TiedFrom && !inside(it)
		if !first && !(i == 0 && inside(it)) {
			continue
		}
		j := i
		for j+1 < len(all) && (slurred(j) || all[j].TiedTo) {
			j++
		}
		x0, x1 := it.x, all[j].x
		if !first {
			x0 = from - 0.8*space
		}
		end := e.y(all[j].place)
		if j == len(all)-1 && slurred(j) {
			x1 = to
		}
		// Below where all stems go up, else above.
		below, dir := true, -1.0
		for k := i; k <= j; k++ {
			below = below && all[k].up
		}
		if below {
			dir = 1
		}
		rise := 1.2 * space
		for k := i; k <= j; k++ {
			edge := e.y(all[k].place)
			if all[k].up && !below {
				edge = all[k].tip
			}
			rise = math.Max(rise, (dir*(edge-(y+end)/2)+0.6*space)*4/3)
		}
		bend(x0, y, x1, end, rise, below)
	}
}
