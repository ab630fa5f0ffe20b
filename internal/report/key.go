package report

import (
	"fmt"
	"strings"

	"singback/exercise"
	"singback/theory"
)

// KeyTable is the record of a key.
type KeyTable struct {
	Schema    int         `json:"schema"`
	Key       string      `json:"key"`
	Tonic     string      `json:"tonic"`
	Mode      string      `json:"mode"`
	Signature int         `json:"signature"` // sharps, or flats as a negative number
	A4Hz      float64     `json:"a4_hz"`
	Tuning    string      `json:"tuning"`
	Scale     string      `json:"scale"`
	Degrees   []KeyDegree `json:"degrees"`
	Falling   []Degree    `json:"falling"` // the way down, from the last before the octave to the tonic

	Rows []KeyRow `json:"-"`
}

// KeyDegree is the record of one degree of a key.
type KeyDegree struct {
	Degree
	Names  map[string]string `json:"names"` // by naming
	Cents  float64           `json:"cents"` // above the tonic, in the tuning
	Ratio  *string           `json:"ratio"` // above the tonic; null in equal temperament
	Hz     float64           `json:"hz"`
	Folded bool              `json:"folded"` // moved by an octave to fit the voice
}

// KeyRow is one degree of a key for printing.
type KeyRow struct {
	Degree theory.Degree
	Pitch  theory.Pitch
	Cents  theory.Cents
	Ratio  string // "" where there is none
	Hz     float64
}

// Field is the name of a naming as a field name.
func Field(n theory.Naming) string { return strings.ReplaceAll(n.String(), "-", "_") }

// NewKeyTable makes the table of the item's key for the degrees given. See
// WithScale for the rest of it.
func NewKeyTable(it exercise.Item, degrees []theory.Degree, n theory.Naming) KeyTable {
	t := KeyTable{
		Schema: Schema,
		Key:    it.Key.ASCII(), Tonic: it.Key.Tonic.ASCII(), Mode: it.Key.Mode.String(),
		Signature: it.Key.Signature(), A4Hz: it.Tuning.A4, Tuning: it.Tuning.String(),
		Falling: []Degree{},
	}
	for _, d := range degrees {
		it.Asked = d
		p, folded := it.Target()
		cents, hz := it.Tuning.Cents(d), it.Hz(p)
		row := KeyDegree{
			Degree: placed(it.Key, d, n, p), Names: map[string]string{}, Cents: round(cents, 3),
			Hz: Hz(hz), Folded: folded,
		}
		ratio := ""
		if num, den, ok := it.Tuning.Ratio(d); ok && it.Tuning.System != theory.Equal {
			ratio = fmt.Sprintf("%d/%d", num, den)
			row.Ratio = &ratio
		}
		for _, other := range theory.Namings() {
			row.Names[Field(other)] = other.NameASCII(it.Key, d)
		}
		t.Degrees = append(t.Degrees, row)
		t.Rows = append(t.Rows, KeyRow{d, p, cents, ratio, hz})
	}
	return t
}

// WithScale returns the table with the name of the scale that its degrees belong
// to, and the way down.
func (t KeyTable) WithScale(k theory.Key, s theory.Scale, falling []theory.Degree, n theory.Naming) KeyTable {
	t.Scale = s.String()
	for _, d := range falling {
		t.Falling = append(t.Falling, NewDegree(k, d, n))
	}
	return t
}
