package theory

// Licence is a rule of voice leading that a voicing does not keep, and where.
type Licence struct {
	From, To int    // the chords, counted from 1
	Rule     string // what there is: "parallel fifths"
}

// The price of a licence, for VoiceFreely. Each costs more than any way through a
// progression that keeps the rules, so the fewest licences are taken; of as many the
// mildest, in the order in which players of popular music take them (common practice):
// a seventh that is left, fifths in parallel, ti that falls, parts that cross, octaves.
const (
	licencePrice = 200_000_000 // more than the differences below, 256 times five of them
	priceSeventh = 100_000     // apart by more than what moving costs
	priceFifths  = 120_000
	priceTi      = 140_000
	priceOverlap = 160_000
	priceOctaves = 200_000
)

// price is what the rules cost together.
func (r rule) price() int {
	price := 0
	for i, extra := range [...]int{priceFifths, priceOctaves, priceOverlap, priceSeventh, priceTi} { // as the bits are
		if r&(1<<i) != 0 {
			price += licencePrice + extra
		}
	}
	return price
}

// VoiceFreely sets the chords as Voice does. Where no voicing keeps the rules it takes
// the one with the fewest licences between chords, of as many the mildest, then that
// with the least cost, and names every one; cost is then without the licences. What a
// chord by itself must have is kept: the ranges, the notes that must sound, what may
// not be doubled. An error wraps ErrVoicing: one chord cannot be set at all.
func (t Texture) VoiceFreely(progression []Roman) (vs []Voicing, cost int, licences []Licence, err error) {
	if vs, cost, err = t.Voice(progression); err == nil {
		return vs, cost, nil, nil
	}
	if vs, cost, err = t.search(progression, true); err != nil {
		return nil, 0, nil, err
	}
	licences, price := t.licences(progression, vs)
	return vs, cost - price, licences, nil
}

// licences are the rules that the steps of a voicing break, and their price.
func (t Texture) licences(progression []Roman, vs []Voicing) (list []Licence, price int) {
	var before state
	var planBefore plan
	for i, r := range progression {
		p := newPlan(r)
		s := p.stateOf(vs[i])
		if i > 0 {
			step := newStep(&planBefore, &p)
			broken := step.broken(&before, &s, false)
			price += broken.price()
			for _, n := range ruleNames {
				if broken&n.rule != 0 {
					list = append(list, Licence{i, i + 1, n.text})
				}
			}
		}
		before, planBefore = s, p
	}
	return list, price
}

// stateOf is the state of the plan that is this voicing.
func (p *plan) stateOf(v Voicing) state {
	var s state
	for part, q := range v {
		s.midi[part] = int16(q.MIDI())
		for i, n := range p.notes {
			if n == q.Note {
				s.tone[part] = int8(i)
			}
		}
	}
	return s
}
