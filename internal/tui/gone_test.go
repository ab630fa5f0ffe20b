package tui

import (
	"strings"
	"testing"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/theory"
)

// While a sound device is gone nobody is told to sing, and once it is back nothing of it
// stays on the screen; in lines both are told.
func TestSoundThatIsGone(t *testing.T) {
	k := theory.Key{Tonic: theory.Note{}, Mode: theory.Major}
	it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: theory.Degree{Step: 3}}
	gone, back := drill.Went(session.Gone{}), drill.Went(session.Gone{Back: true})
	var v View
	var out strings.Builder
	lines := Lines{Prompts: &out}
	shown := func(events ...session.Event) string {
		for _, e := range events {
			v.Event(e)
			lines.Event(e)
		}
		return v.Render()
	}
	sing := []session.Event{session.KeySet{Key: k}, session.Prompted{Index: 1, Attempt: 1, Item: it}, session.Listening{Index: 1}, session.Heard{Level: -30}}
	if s := shown(sing...); !strings.Contains(s, phaseSing) {
		t.Fatalf("before:\n%s", s)
	}
	if s := shown(session.Gone{}); !strings.Contains(s, gone) || strings.Contains(s, phaseSing) {
		t.Errorf("gone:\n%s", s)
	}
	if s := shown(session.Gone{Back: true}); !strings.Contains(s, back) {
		t.Errorf("back:\n%s", s)
	}
	if s := shown(sing...); strings.Contains(s, gone) || strings.Contains(s, back) || !strings.Contains(s, phaseSing) {
		t.Errorf("asked anew:\n%s", s)
	}
	if said := out.String(); strings.Count(said, gone+"\n") != 1 || strings.Count(said, back+"\n") != 1 {
		t.Errorf("in lines:\n%s", said)
	}
}
