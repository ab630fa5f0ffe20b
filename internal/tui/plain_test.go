package tui

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	tea "charm.land/bubbletea/v2"

	"singback/internal/plain"
	"singback/internal/session"
)

// colours are the sequences of the screen's own styles (SGR of ISO/IEC 6429);
// hostile text has other ones.
var colours = regexp.MustCompile(`\x1b\[[0-9;]*m`)

// What is named by somebody else is shown and not obeyed, wherever it stands on
// the screen.
func TestScreenShowsWhatAnotherNamed(t *testing.T) {
	const hostile = "n\x1b[2J\x1b]0;t\x07\u009b2J\u202egnp\x9bx"
	for name, show := range map[string]func(m *model){
		"a notice":        func(m *model) { m.Update(session.Notice{Text: hostile}) },
		"a melody graded": func(m *model) { m.Update(session.LineGraded{Lines: []string{hostile}}) },
		"what is asked":   func(m *model) { m.Update(&entry{hostile, nil, nil}) },
		"a pause":         func(m *model) { m.Update(pause{hostile, 1, nil}) },
		"what is typed": func(m *model) {
			m.Update(&entry{"?", nil, nil})
			m.Update(tea.KeyPressMsg{Text: hostile})
		},
		"a problem": func(m *model) {
			m.Update(&entry{"?", func(string) error { return errors.New(hostile) }, nil})
			m.Update(tea.KeyPressMsg{Code: tea.KeyEnter})
		},
	} {
		m := &model{louder: func(float64) float64 { return -20 }}
		m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
		show(m)
		text := colours.ReplaceAllString(m.view.Render(), "")
		if !strings.Contains(text, "gnp") {
			t.Errorf("%s is not shown:\n%s", name, text)
		}
		if strings.ContainsFunc(text, func(r rune) bool { return r != '\n' && plain.Control(r) }) || strings.Contains(text, "\x9bx") {
			t.Errorf("%s: a control reaches the screen: %q", name, text)
		}
	}
	m := newModel(Options{Note: hostile, Louder: func(float64) float64 { return -20 }}, func() {})
	if text := colours.ReplaceAllString(m.view.Render(), ""); !strings.Contains(text, `\u202egnp`) || strings.Contains(text, "\x1b") {
		t.Errorf("the note: %q", text)
	}
}
