package theory_test

import (
	"errors"
	"testing"

	. "singback/theory"
)

// What is read is written and read back as itself; what is refused is refused
// with the sentinel and a message of bounded length.

const longestMessage = 600 // bytes: 40 quoted runes of up to 10 bytes and the rest

func checkRefusal(t *testing.T, s string, err, is error) {
	t.Helper()
	if !errors.Is(err, is) || len(err.Error()) > longestMessage {
		t.Errorf("%q: %v (%d bytes), want a short message that wraps %v", s, err, len(err.Error()), is)
	}
}

func FuzzParseKey(f *testing.F) {
	for _, s := range []string{"Ab major", "A♭", "f#m", "c-sharp minor", "Bb maj", "EbM", "H# major", "Fbb minor", "", "m", "\xff", "D dorian", "f#-LYDIAN", "G## locrian", "dorian"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		modal, err := ParseModalKey(s)
		if err != nil {
			checkRefusal(t, s, err, ErrKey)
		} else if !modal.Valid() {
			t.Errorf("%q: %v is no key", s, modal)
		} else if got, err := ParseModalKey(modal.ASCII()); got != modal || err != nil {
			t.Errorf("%q is %v, but %q is %v, %v", s, modal, modal.ASCII(), got, err)
		}
		k, err := ParseKey(s)
		if err != nil {
			checkRefusal(t, s, err, ErrKey)
			return
		}
		if !k.Valid() || k != modal {
			t.Errorf("%q: %v is no key, or not %v", s, k, modal)
		}
		for _, back := range []string{k.String(), k.ASCII()} {
			if got, err := ParseKey(back); got != k || err != nil {
				t.Errorf("%q is %v, but %q is %v, %v", s, k, back, got, err)
			}
		}
	})
}

func FuzzParseNote(f *testing.F) {
	for _, s := range []string{"C", "ab", "F♯", "F##", "Fx", "E𝄫", "B flat", "c-sharp", "Eb4", "C-1", "", "♭", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if n, err := ParseNote(s); err != nil {
			checkRefusal(t, s, err, ErrNote)
		} else {
			for _, back := range []string{n.String(), n.ASCII()} {
				if got, err := ParseNote(back); got != n || err != nil {
					t.Errorf("%q is %v, but %q is %v, %v", s, n, back, got, err)
				}
			}
		}
		if p, err := ParsePitch(s); err != nil {
			checkRefusal(t, s, err, ErrNote)
		} else if got, err := ParsePitch(p.ASCII()); got != p || err != nil {
			t.Errorf("%q is %v, but %q is %v, %v", s, p, p.ASCII(), got, err)
		}
	})
}

func FuzzParseDegree(f *testing.F) {
	for i, s := range []string{"6", "b7", "♭7", "#4", "n7", "la", "so", "A", "Eb", "la♭", "labb", "ba", "1-7", "all, triad", "chromatic", "do do", "5-1", "", "\xff"} {
		f.Add(s, uint8(i), uint8(i))
	}
	f.Fuzz(func(t *testing.T, s string, key, naming uint8) {
		k := Keys()[int(key)%len(Keys())]
		n := Namings()[int(naming)%len(Namings())]
		if d, err := ParseDegree(s, k, n); err != nil {
			checkRefusal(t, s, err, ErrDegree)
		} else {
			if d.Step < 1 || d.Step > 7 || d.Alter < -2 || d.Alter > 2 {
				t.Errorf("%q in %v, %v is %v", s, k, n, d)
			}
			for _, m := range Namings() {
				for _, back := range []string{m.Name(k, d), m.NameASCII(k, d)} {
					if got, err := ParseDegree(back, k, m); got != d || err != nil {
						t.Errorf("%q in %v, %v is %v, but %q in %v is %v, %v", s, k, n, d, back, m, got, err)
					}
				}
			}
		}
		ds, err := ParseDegrees(s, k, n)
		if err != nil {
			checkRefusal(t, s, err, ErrDegree)
			return
		}
		seen := map[Degree]bool{}
		for _, d := range ds {
			if seen[d] {
				t.Errorf("%q in %v, %v: %v comes twice in %v", s, k, n, d, ds)
			}
			seen[d] = true
		}
	})
}
