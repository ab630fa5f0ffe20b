package class

import (
	"strings"
	"testing"
)

// Whoever reads the name of a file knows who is meant; the students are invented.
func TestMatch(t *testing.T) {
	names := []string{"Ana", "Ana Maria", "Bo", "Zoë Özil", "7", "Lee-Anne", "O'Dell", "李", "week 3"}
	m := NewMatcher(names)
	for _, c := range []struct{ path, want string }{
		{"ana.wav", "Ana"},
		{"ANA_week2.opus", "Ana"},
		{"anaWeek2.m4a", "Ana"},
		{"ana-maria.wav", "Ana Maria"},
		{"AnaMaria take 2.wav", "Ana Maria"},
		{"anamaria.wav", "Ana Maria"},
		{"anabel.wav", ""}, // another name
		{"bobby.wav", ""},  // another name
		{"takes/bo/2026-11-28 18.30.ogg", "Bo"},
		{"Bo/ana.wav", "Ana"}, // the file says more than its folder
		{"week.zip/bo.wav", "Bo"},
		{"bo.zip/PTT-20261128-WA0003.opus", "Bo"},
		{"zoe_ozil.mp3", "Zoë Özil"},
		{"Zoe\u0308 O\u0308zil.mp3", "Zoë Özil"}, // as some systems write file names
		{"07.wav", "7"},
		{"take 17.wav", ""},
		{"leeanne.flac", "Lee-Anne"},
		{"lee anne 4.flac", "Lee-Anne"},
		{"ODell.wav", "O'Dell"},
		{"odell.wav", "O'Dell"},
		{"李.wav", "李"},
		{"WEEK_03.wav", "week 3"},
		{"ana and bo.wav", ""}, // it may be either
		{"bo 7.wav", ""},
		{"recording.wav", ""},
		{"", ""},
		{`C:\takes\Bo\x.wav`, "Bo"},
	} {
		i, err := m.Match(c.path)
		got := ""
		if err == nil {
			got = names[i]
		}
		if got != c.want {
			t.Errorf("%q: %q (%v), want %q", c.path, got, err, c.want)
		}
	}
	both := NewMatcher([]string{"Ida", "Ivo"})
	if _, err := both.Match("ida-ivo.wav"); err == nil || !strings.Contains(err.Error(), "Ida or Ivo") {
		t.Errorf("two names as long as each other: %v", err)
	}
}
