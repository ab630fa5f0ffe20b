package tui

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"charm.land/lipgloss/v2"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

var update = flag.Bool("update", false, "write the golden files anew")

var escape = regexp.MustCompile("\x1b\\[[0-9;]*m")

// golden compares text with the file of that name in testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("%s differs (see it with -update and git diff); got\n%s", path, got)
	}
}

func key(t testing.TB, name string) theory.Key {
	t.Helper()
	k, err := theory.ParseKey(name)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// asking is an item in A-flat major: sing la, from do if from.
func asking(t testing.TB, from bool) exercise.Item {
	k := key(t, "Ab major")
	it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: theory.Degree{Step: 6}}
	if from {
		it.From = &theory.Degree{Step: 1}
	}
	return it
}

// right is a verdict so many cents off the degree asked.
func right(it exercise.Item, o exercise.Outcome, cents theory.Cents) exercise.Verdict {
	return exercise.Verdict{
		Outcome: o, Sung: it.Asked, HasSung: true, Cents: cents, FromAsked: cents, SE: 0.4,
		F0: 349.23, Spread: 6, Settle: 0.12, Held: 1.8, Answer: 0.9, Level: -21,
	}
}

// states are the screens of a drill, by name, as the events that lead there.
func states(t testing.TB) map[string]func(*View) {
	plain, from := asking(t, false), asking(t, true)
	begin := func(v *View) {
		v.Event(session.KeySet{Key: plain.Key, Tuning: plain.Tuning})
	}
	tolerance := exercise.Tolerance{Cents: 35}
	ask := func(v *View, it exercise.Item, index, attempt int) {
		begin(v)
		target, _ := it.Target()
		v.Event(session.Prompted{Index: index, Of: 10, Attempt: attempt, Item: it, Target: target, Tolerance: tolerance})
	}
	judged := func(it exercise.Item, verdict exercise.Verdict) func(*View) {
		return func(v *View) {
			ask(v, it, 3, 1)
			v.Event(session.Waiting{})
			v.Event(session.Listening{})
			v.Event(session.Heard{Level: -20, Singing: true, Held: 1.8})
			v.Event(session.Judged{Index: 3, Attempt: 1, Item: it, Verdict: verdict, Counts: verdict.Counts(), Tolerance: tolerance})
		}
	}
	other := right(plain, exercise.OtherDegree, 12)
	other.Sung, other.FromAsked = theory.Degree{Step: 5}, -188
	wavering := right(plain, exercise.Unsteady, 8)
	wavering.Spread = 38
	full := right(plain, exercise.Flat, -40)
	full.VibratoHz, full.VibratoCents, full.Scoop = 5.8, 40, -180
	octave := right(plain, exercise.OtherDegree, 4)
	octave.OctaveShift = -1
	heard := func(then func(*View, compose.Dictation)) func(*View) {
		return func(v *View) {
			begin(v)
			chords, err := theory.ParseProgression("I IV", plain.Key)
			if err != nil {
				t.Fatal(err)
			}
			d := compose.Dictation{Of: exercise.BassSkill, Key: plain.Key, Chords: chords}
			v.Event(session.DictationAsked{Index: 5, Of: 8, Dictation: d})
			if then != nil {
				v.Event(session.Naming{Dictation: d})
				then(v, d)
			}
		}
	}
	melody := func(then func(*View)) func(*View) {
		return func(v *View) {
			v.Staff = func(_ theory.Score, width, height int) []string {
				if height < 6 || width < 13 {
					return []string{"(a window of 11 lines shows the staff)"[:min(38, width)], "| do :-"[:min(7, width)]}
				}
				return []string{"-----------", "           ", "-------o---", "           ", "-----------", " the staff "}
			}
			v.Event(session.LinePrompted{Index: 6, Melody: compose.SightMelody{Score: theory.Score{Key: plain.Key}}})
			then(v)
		}
	}
	return map[string]func(*View){
		"empty": func(*View) {},
		"key":   begin,
		"from":  func(v *View) { ask(v, from, 1, 1) },
		"waiting": func(v *View) {
			ask(v, plain, 1, 1)
			v.Event(session.Waiting{})
		},
		"listening": func(v *View) {
			ask(v, plain, 1, 1)
			v.Event(session.Listening{})
		},
		"singing": func(v *View) {
			ask(v, from, 1, 1)
			v.Event(session.Listening{})
			v.Event(session.Heard{Level: -18, Singing: true, Held: 1.24})
		},
		"too-loud": func(v *View) {
			ask(v, plain, 1, 1)
			v.Event(session.Listening{})
			v.Event(session.Heard{Level: -3, Singing: true, Held: 1.24})
		},
		"in-tune":      judged(plain, right(plain, exercise.InTune, 4)),
		"flat":         judged(plain, full),
		"sharp":        judged(from, right(from, exercise.Sharp, 40)),
		"other-degree": judged(plain, other),
		"other-octave": judged(plain, octave),
		"ambiguous":    judged(plain, right(plain, exercise.Ambiguous, -50)),
		"unsteady":     judged(plain, wavering),
		"not-measured": judged(plain, exercise.Verdict{Reason: exercise.TooShort, Level: -30}),
		"offer": func(v *View) {
			judged(plain, full)(v)
			v.Event(session.Sounding{Item: plain})
			v.Offered = true
		},
		"compare": func(v *View) {
			judged(plain, full)(v)
			v.Event(session.Sounding{Item: plain})
		},
		"once-more": func(v *View) {
			judged(plain, full)(v)
			ask(v, plain, 3, 2)
			v.Event(session.Waiting{})
		},
		"next": func(v *View) {
			judged(plain, right(plain, exercise.InTune, 4))(v)
			target, _ := from.Target()
			v.Event(session.Prompted{Index: 4, Of: 10, Attempt: 1, Item: from, Target: target, Folded: true, Tolerance: tolerance})
		},
		"rest": func(v *View) {
			judged(plain, right(plain, exercise.InTune, 4))(v)
			v.Event(session.Rest{Sung: 901})
			ask(v, from, 4, 1)
			v.Event(session.Listening{})
			v.Note = "One line of advice.\nAnd another one."
		},
		"pause": func(v *View) {
			judged(plain, right(plain, exercise.InTune, 4))(v)
			v.Event(session.Rest{Sung: 901})
			v.Event(session.Sounding{Item: plain})
			v.Paused = true
		},
		"rested": func(v *View) {
			v.Event(session.Rest{Sung: 901})
			for i := range 4 {
				ask(v, plain, 4+i, 1)
			}
		},
		"outside": func(v *View) {
			narrow := plain
			narrow.Register.Range = theory.Range{Low: 60, High: 63}
			target, folded := narrow.Target()
			begin(v)
			v.Event(session.Prompted{Index: 4, Of: 10, Attempt: 1, Item: narrow, Target: target, Folded: folded, Tolerance: tolerance})
		},
		"series": func(v *View) {
			begin(v)
			target, _ := from.Target()
			v.Event(session.Prompted{Index: 4, Attempt: 1, Item: from, Target: target, Part: 2, Parts: 5, Tolerance: tolerance})
		},
		// Another tolerance than that of the question before is announced.
		"narrower": func(v *View) {
			ask(v, plain, 3, 1)
			target, _ := plain.Target()
			v.Event(session.Prompted{Index: 4, Of: 10, Attempt: 1, Item: plain, Target: target, Tolerance: exercise.Tolerance{Cents: 25}})
			v.Event(session.Waiting{})
		},
		// Right within a wide tolerance, though far off.
		"wide": func(v *View) {
			ask(v, plain, 3, 1)
			v.Event(session.Judged{Index: 3, Attempt: 1, Item: plain, Verdict: right(plain, exercise.InTune, 41), Counts: true, Tolerance: exercise.Tolerance{Cents: 50}})
		},
		"today": func(v *View) {
			v.Alert = "No microphone was found: a simulated singer answers, not you."
			begin(v)
			v.Event(session.Standing{Text: "Stage 2 of 11: from do, mi and sol.  7 due.  4 minutes left."})
			target, _ := from.Target()
			v.Event(session.Prompted{Index: 4, Attempt: 1, Item: from, Target: target, Tolerance: tolerance})
			v.Event(session.Waiting{})
		},
		// Not even noise, for a second and more.
		"deaf": func(v *View) {
			ask(v, plain, 1, 1)
			v.Event(session.Listening{})
			for range 12 {
				v.Event(session.Heard{Level: exercise.Silence})
			}
		},
		"chords": heard(nil),
		"naming": heard(func(v *View, _ compose.Dictation) {
			v.Typing = &Typing{Ask: "type the 2 degrees, then Enter", Text: "do f"}
		}),
		"misnamed": heard(func(v *View, _ compose.Dictation) {
			v.Typing = &Typing{Ask: "type the 2 degrees, then Enter", Text: "do fx", Problem: "no degree \"fx\""}
		}),
		"named": heard(func(v *View, d compose.Dictation) {
			v.Event(session.Named{Index: 5, Dictation: d, Names: d.Skills(), Right: []bool{true, true}})
		}),
		"named-wrong": heard(func(v *View, d compose.Dictation) {
			names := d.Skills()
			names[1].Degree = theory.Degree{Step: 6}
			v.Event(session.Named{Index: 5, Dictation: d, Names: names, Right: []bool{true, false}})
		}),
		"given-up": heard(func(v *View, d compose.Dictation) {
			v.Event(session.Named{Index: 5, Dictation: d, Right: []bool{false, false}})
		}),
		"named-blind": heard(func(v *View, d compose.Dictation) {
			v.Event(session.Named{Index: 5, Dictation: d, Names: d.Skills(), Right: []bool{true, true}, Hidden: true})
		}),
		"melody": melody(func(v *View) { v.Pause = "read it in silence: 20 seconds; Enter begins" }),
		"melody-sung": melody(func(v *View) {
			v.Event(session.KeySet{Key: plain.Key, Tuning: plain.Tuning})
			v.Event(session.CountIn{Beats: 4})
			v.Event(session.Listening{})
			v.Event(session.Heard{Level: -20, Singing: true})
		}),
		"melody-graded": melody(func(v *View) {
			v.Event(session.LineSung{})
			v.Event(session.LineGraded{Index: 6, Lines: []string{"6  C major, level 1: score 0.82", "marks     12 of 14 notes right; 7 of 8 points"}})
			v.Pause = "Enter goes on"
		}),
		"ended": func(v *View) {
			judged(plain, right(plain, exercise.InTune, 4))(v)
			v.Event(session.Finished{})
		},
		"ending": func(v *View) {
			ask(v, plain, 1, 1)
			v.Event(session.Listening{})
			v.Ending = true
		},
	}
}

func TestScreens(t *testing.T) {
	for name, lead := range states(t) {
		for _, c := range []struct {
			suffix        string
			width, height int
			ascii         bool
			naming        theory.Naming
		}{
			{"", 80, 24, false, theory.Movable},
			{"-ascii", 80, 24, true, theory.Letters},
			{"-narrow", 40, 10, false, theory.Movable},
			{"-60", 60, 20, false, theory.Movable},
			{"-120", 120, 40, false, theory.Movable},
			{"-200", 200, 60, true, theory.Movable},
		} {
			if c.width > 80 || c.width == 60 {
				if !slices.Contains([]string{"from", "waiting", "singing", "flat", "sharp", "today", "naming", "named-wrong"}, name) {
					continue // the sizes differ alike
				}
			}
			v := &View{Style: report.Style{Names: c.naming, ASCII: c.ascii}, Width: c.width, Height: c.height, Level: -24, Note: "A note about what answers instead of a microphone."}
			lead(v)
			got := escape.ReplaceAllString(v.Render(), "")
			lines := strings.Split(got, "\n")
			for i := range lines {
				lines[i] = strings.TrimRight(lines[i], " ")
			}
			golden(t, name+c.suffix, strings.Join(lines, "\n")+"\n")
		}
	}
}

// No screen is ever wider or higher than the terminal, and one as low as a
// line still holds something.
func TestScreensFit(t *testing.T) {
	for name, lead := range states(t) {
		for _, width := range []int{1, 7, 20, 40, 59, 60, 79, 80, 132, 200} {
			for _, height := range []int{1, 2, 3, 5, 10, 16, 23, 24, 40, 60} {
				v := &View{Width: width, Height: height, Note: strings.Repeat("words ", 30)}
				lead(v)
				lines := strings.Split(v.Render(), "\n")
				if len(lines) != height {
					t.Fatalf("%s in %dx%d: %d lines", name, width, height, len(lines))
				}
				for _, line := range lines {
					if w := lipgloss.Width(line); w > width {
						t.Fatalf("%s in %dx%d: a line of %d cells: %q", name, width, height, w, line)
					}
				}
			}
		}
	}
}

// What the singer must see is on the screen down to 40 by 10.
func TestScreensKeepWhatMatters(t *testing.T) {
	for name, want := range map[string][]string{
		"from":         {"hear do, sing la"},
		"singing":      {"sing now", "held 1.2 s"},
		"flat":         {"too low", "asked la"},
		"other-degree": {"sol instead of la"},
		"not-measured": {"not measured"},
		"offer":        {"once more?", "too low"},
		"narrower":     {"within 25 cents now, 35 before"},
		"wide":         {"right (41 cents sharp)"},
		"today":        {"No microphone was found", "hear do, sing la", "within 35 cents"},
		"naming":       {"5 of 8", "Esc: clear"},
	} {
		v := &View{Width: 40, Height: 10, Note: "a note"}
		states(t)[name](v)
		got := escape.ReplaceAllString(v.Render(), "")
		for _, words := range want {
			if !strings.Contains(strings.Join(strings.Fields(got), " "), words) {
				t.Errorf("%s in 40x10 does not say %q:\n%s", name, words, got)
			}
		}
	}
}

// Words and signs say everything: without escape sequences each outcome still
// looks different.
func TestOutcomesDifferWithoutColour(t *testing.T) {
	seen := map[string]string{}
	for _, name := range []string{"in-tune", "flat", "sharp", "other-degree", "other-octave", "ambiguous", "unsteady", "not-measured"} {
		v := &View{Style: report.Style{ASCII: true}}
		states(t)[name](v)
		got := escape.ReplaceAllString(v.Render(), "")
		if other, ok := seen[got]; ok {
			t.Errorf("%s and %s look the same", name, other)
		}
		seen[got] = name
	}
}

// Every name of every degree in every naming can be drawn in large letters
// that fit into 80 columns, alone and with the cents beside it.
func TestBannersOfAllNames(t *testing.T) {
	for _, k := range theory.Keys() {
		for _, d := range k.ChromaticDegrees() {
			for _, n := range theory.Namings() {
				for _, ascii := range []bool{false, true} {
					s := report.Style{Names: n, ASCII: ascii}
					for _, text := range []string{s.Degree(k, d), s.Degree(k, d) + " -49", s.Degree(k, d) + " +38", s.Degree(k, d) + " 15mb"} {
						rows := banner(text, ascii, 74, 1)
						if rows[2] == text || rows[0]+rows[1] == "" {
							t.Fatalf("%v, %v: %q cannot be drawn", k, n, text)
						}
						for _, row := range rows {
							if w := lipgloss.Width(row); w > 74 {
								t.Errorf("%v, %v: %q is %d cells wide", k, n, text, w)
							}
							if ascii && strings.ContainsFunc(row, func(r rune) bool { return r > 126 }) {
								t.Errorf("%q has letters that are not ASCII", row)
							}
						}
					}
				}
			}
		}
	}
}

func TestGlyphsAreWellFormed(t *testing.T) {
	seen := map[[bannerRows]string]rune{}
	for r, g := range glyphs {
		for j, row := range g {
			if len(row) != len(g[0]) || strings.Trim(row, "# ") != "" {
				t.Errorf("%q, row %d: %q, want %d of # and blank", r, j, row, len(g[0]))
			}
		}
		if other, ok := seen[g]; ok && !(strings.ContainsRune("#♯", r) && strings.ContainsRune("#♯", other)) && !(strings.ContainsRune("b♭", r) && strings.ContainsRune("b♭", other)) {
			t.Errorf("%q looks like %q", r, other)
		}
		seen[g] = r
	}
	if rows := banner("œ", false, 74, 1); rows[2] != "œ" {
		t.Errorf("a letter that cannot be drawn: %q", rows)
	}
	if rows := banner("sol", false, 10, 1); rows[2] != "sol" {
		t.Errorf("no room: %q", rows)
	}
}

// Letters grow with the screen, what is asked and what is sounded before it alike;
// and what was asked and sung is labelled.
func TestLettersGrow(t *testing.T) {
	ink := func(name string, width, height int) int {
		v := &View{Width: width, Height: height}
		states(t)[name](v)
		return strings.Count(v.Render(), "█")
	}
	for _, name := range []string{"waiting", "from", "flat"} {
		small, middle, large := ink(name, 80, 24), ink(name, 120, 40), ink(name, 200, 60)
		if middle < 2*small || large < 2*middle {
			t.Errorf("%s: %d cells of ink in 80x24, %d in 120x40, %d in 200x60", name, small, middle, large)
		}
	}
	// do and la together, and each by itself where they do not fit.
	if both, one := ink("from", 80, 24), ink("waiting", 80, 24); both <= one {
		t.Errorf("%d cells of ink for do and la, %d for la", both, one)
	}
	if sounding, asked := ink("from", 40, 24), ink("waiting", 40, 24); sounding == asked {
		t.Errorf("the degree that sounds is not drawn in large letters: %d cells of ink, as those of la", sounding)
	}
	v := &View{}
	states(t)["flat"](v)
	lines := strings.Split(escape.ReplaceAllString(v.Render(), ""), "\n")
	for i, want := range map[int]string{2: "asked la", 11: "sung"} {
		if strings.TrimSpace(lines[i]) != want {
			t.Errorf("line %d is %q, want %q above the large letters", i, lines[i], want)
		}
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct {
		cents, tolerance float64
		want             string
	}{
		{0, 0, "flat -----V----- sharp"},
		{50, 0, "flat -----+----V sharp"},
		{-50, 0, "flat V----+----- sharp"},
		{-22, 0, "flat ---V-+----- sharp"},
		{400, 0, "flat -----+----V sharp"},
		{-400, 0, "flat V----+----- sharp"},
		{0, 35, "flat -[---V---]- sharp"},
		{35, 35, "flat -[---+---V- sharp"},
		{36, 35, "flat -[---+---]V sharp"}, // just outside of what is right
		{-41, 35, "flat V[---+---]- sharp"},
		{41, 50, "flat [----+---V] sharp"},
		{-50, 50, "flat V----+----] sharp"},
		{9, 5, "flat ----[+]V--- sharp"},
	} {
		if got := scale(c.cents, c.tolerance, true, 22); got != c.want {
			t.Errorf("%g cents: %q, want %q", c.cents, got, c.want)
		}
	}
}

// What is indented stays so where it is broken, and nothing is wider than the window.
func TestWrapKeepsIndentation(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  []string
	}{
		{"  listen whether do sounds above", 20, []string{"  listen whether do", "  sounds above"}},
		{"listen whether do sounds", 14, []string{"listen whether", "do sounds"}},
		{"", 10, []string{""}},
	} {
		got := wrap(c.text, c.width)
		for _, line := range got {
			if lipgloss.Width(line) > c.width {
				t.Errorf("%q is wider than %d", line, c.width)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%q in %d cells is %q, want %q", c.text, c.width, got, c.want)
		}
	}
}
