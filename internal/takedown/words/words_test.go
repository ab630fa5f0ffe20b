package words

import (
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/report"
	"singback/internal/takedown"
	"singback/theory"
)

// heard is what was taken down of a short bass with a pickup: sol do – fa sol ? do, in
// G, home 20 cents sharp.
func heard(t *testing.T) Heard {
	t.Helper()
	var p grade.Performance
	for i, n := range []struct{ midi, from, to float64 }{
		{43, 0, 1.5}, {38, 3, 3.9}, {43, 4, 5.9}, {48, 6, 6.9}, {50, 7, 7.9}, {46.5, 8, 8.9}, {43, 9, 10.9},
	} {
		cents := 100*n.midi + 20
		p.Notes = append(p.Notes, grade.Sung{Cents: cents, Onset: n.from, Offset: n.to})
		for at := n.from; at < n.to; at += 0.01 {
			m := grade.Moment{At: at, Cents: cents, Voiced: true}
			if i == 5 {
				m.Cents += 1000 * (at - n.from) // a glide
			}
			p.Curve = append(p.Curve, m)
		}
	}
	home, err := takedown.FirstHeld(p, 0)
	if err != nil {
		t.Fatal(err)
	}
	taken, err := takedown.Read(p, takedown.Options{Home: home, A4: 440, From: 2, Profile: theory.Profiles()[0]})
	if err != nil {
		t.Fatal(err)
	}
	h := Heard{Taken: taken, By: "first", A4: 440}
	var at []float64
	for i := range 8 {
		at = append(at, 4+float64(i))
	}
	h.Laid = taken.Line(&takedown.Beats{Meter: theory.Meter{Beats: 4, Unit: 4}, At: at}, "", 2)
	style := theory.Hymn
	h.Style = &style
	if h.Laid.Chart, err = h.Laid.Offer(style); err != nil {
		t.Fatal(err)
	}
	return h
}

func TestRecord(t *testing.T) {
	h := heard(t)
	r := h.Record()
	if r.Key != "G major" || r.Home.Note != "G2" || r.Home.Cents != 20 || r.Home.By != "first" || *r.TempoBPM != 60 || *r.Style != "hymn" {
		t.Errorf("%+v, %+v", r, r.Home)
	}
	type place struct {
		bar         int
		beat, beats float64
		name        string
	}
	want := []place{{0, 4, 1, "sol"}, {1, 1, 2, "do"}, {1, 3, 1, "fa"}, {1, 4, 1, "sol"}, {2, 1, 1, ""}, {2, 2, 3, "do"}}
	for i, n := range r.Notes {
		got := place{*n.Bar, *n.Beat, *n.Beats, ""}
		if n.Degree != nil {
			got.name = n.Degree.Name
		} else if n.Unclear == nil || *n.Unclear != "unsteady" {
			t.Errorf("note %d has no degree and no reason", i)
		}
		if got != want[i] {
			t.Errorf("note %d: %v, want %v", i, got, want[i])
		}
	}
	if len(r.Chords) != 6 || r.Chords[4].Chord != nil || r.Chords[1].Chord.Numeral != "I" || len(r.Chords[1].Others) > 3 {
		t.Errorf("%+v", r.Chords)
	}
	var b strings.Builder
	if err := h.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if len(lines) != 8 || lines[1] != "3,3.9,5,sol,D2,0,0,,0,4,1" || !strings.HasSuffix(lines[5], ",unsteady,2,1,1") {
		t.Errorf("%s", &b)
	}
}

func TestFindings(t *testing.T) {
	h := heard(t)
	style := report.Style{ASCII: true}
	told := strings.Join(h.Findings(style), "\n")
	for _, want := range []string{
		"Home, as it was sung: G2, 20 cents sharp (A4 = 440 Hz), so the chart is in G major.", "1 note is not clear and marked ?.",
	} {
		if !strings.Contains(told, want) {
			t.Errorf("no %q in\n%s", want, told)
		}
	}
	rest := h.Alternatives(style, style.Roman)
	for line := range strings.Lines(rest) {
		if strings.TrimSpace(line) != "" && !strings.HasPrefix(line, "# ") || len(line) > 81 {
			t.Errorf("no remark: %q", line)
		}
	}
	for _, want := range []string{"# 0:4    sol  V", "# 1:1    do   I 9", "# 2:1    ?\n", "in the style hymn, counted in"} {
		if !strings.Contains(rest, want) {
			t.Errorf("no %q in\n%s", want, rest)
		}
	}
	text, err := h.Laid.Text(theory.Movable, style.Roman)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := takedown.ParseChart(text + rest); err != nil {
		t.Errorf("%v:\n%s", err, text+rest)
	}
	for by, want := range map[string]string{"find": "a guess", "key": "from the key that you name: G major; G2 is 20 cents sharp"} {
		h.By = by
		h.Keys = []theory.KeyScore{{Key: h.Taken.Key, Score: 0.8}, {Key: theory.Key{}, Score: 0.75}}
		h.Agree = 0.9
		if got := strings.Join(h.Findings(style), "\n"); !strings.Contains(got, want) {
			t.Errorf("%s: no %q in\n%s", by, want, got)
		}
	}
	h.Style = nil
	if h.Alternatives(style, style.Roman) != "" {
		t.Error("a tune has chords")
	}
}
