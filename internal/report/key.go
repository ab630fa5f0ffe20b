package report

import (
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
	Degrees   []KeyDegree `json:"degrees"`

	Rows []KeyRow `json:"-"`
}

// KeyDegree is the record of one degree of a key.
type KeyDegree struct {
	Degree
	Names  map[string]string `json:"names"` // by naming
	Hz     float64           `json:"hz"`
	Folded bool              `json:"folded"` // moved by an octave to fit the voice
}

// KeyRow is one degree of a key for printing.
type KeyRow struct {
	Degree theory.Degree
	Pitch  theory.Pitch
	Hz     float64
}

// Field is the name of a naming as a field name.
func Field(n theory.Naming) string { return strings.ReplaceAll(n.String(), "-", "_") }

// NewKeyTable makes the table of the item's key for the degrees given.
func NewKeyTable(it exercise.Item, degrees []theory.Degree, n theory.Naming) KeyTable {
	t := KeyTable{
		Schema: Schema,
		Key:    it.Key.ASCII(), Tonic: it.Key.Tonic.ASCII(), Mode: it.Key.Mode.String(),
		Signature: it.Key.Signature(), A4Hz: it.Tuning.A4, Tuning: "equal",
	}
	for _, d := range degrees {
		it.Asked = d
		p, folded := it.Target()
		hz := it.Tuning.Hz(p)
		row := KeyDegree{placed(it.Key, d, n, p), map[string]string{}, Hz(hz), folded}
		for _, other := range theory.Namings() {
			row.Names[Field(other)] = other.NameASCII(it.Key, d)
		}
		t.Degrees = append(t.Degrees, row)
		t.Rows = append(t.Rows, KeyRow{d, p, hz})
	}
	return t
}
