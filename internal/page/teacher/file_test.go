package teacher

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/synth"
	"singback/theory"
)

// harbour makes a class file of a few invented students, who are model voices, and two
// tasks: a line of names, and one of a score. Of note n of a take by student s a fault is
// planted: Ana sings it a semitone and a half off, Bo leaves it out, Cem is 45 cents
// sharp, Dot sings all.
func harbour(t testing.TB, keep bool, students, of int) string {
	t.Helper()
	folder := t.TempDir()
	path := filepath.Join(folder, "harbour.class")
	f, err := classfile.New(path, "Harbour choir (invented)", clock())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	score, err := os.ReadFile("../../../testdata/harbour.abc")
	if err != nil {
		t.Fatal(err)
	}
	tasks := []class.Task{
		{Name: "week 1", Kind: class.Melody, Given: "2026-11-02", Due: "2026-11-16", Model: class.Model{Text: "do re mi fa sol la sol fa mi re do", Key: "G", Names: theory.Movable.String(), Tuning: "equal", A4: 440}},
		{Name: "harbour", Kind: class.Melody, Given: "2026-11-09", Due: "2026-11-23", Model: class.Model{Text: "harbour.abc", Content: score, Part: "Soprano", Names: theory.Movable.String(), Tuning: "equal", A4: 440}},
	}
	var handed []desk.Handed
	for i, name := range []string{"Ana", "Bo", "Cem", "Dot"}[:students] {
		s := class.Student{Name: name, Voice: "alto", Since: "2026-10-01"}
		if s.ID, err = f.AddStudent(s); err != nil {
			t.Fatal(err)
		}
		for k := range tasks[:of] {
			task := &tasks[k]
			task.Rules, task.Rubric = grade.DefaultRules(), class.Default()
			if task.ID == 0 {
				if task.ID, err = f.AddTask(*task); err != nil {
					t.Fatal(err)
				}
			}
			line, err := desk.LineOf(*task)
			if err != nil {
				t.Fatal(err)
			}
			file := filepath.Join(folder, fmt.Sprintf("%s, %s.wav", name, task.Name))
			sing(t, file, line.Line, i, uint64(10*i+k))
			handed = append(handed, desk.Handed{Found: desk.Found{Path: file}, Student: s, Task: *task})
		}
	}
	c := desk.Collector{File: f, Now: clock(), Mark: true, Keep: keep}
	if err := c.Collect(t.Context(), handed, func(c desk.Collected) error {
		if c.Take.Trouble != "" {
			t.Errorf("%s: %s", c.Path, c.Take.Trouble)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return path
}

// sing has a model voice sing a line with the fault of a singer.
func sing(t testing.TB, path string, line grade.Line, singer int, seed uint64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	const rate, pace = 16000, 0.55
	notes, now := []synth.Sung{synth.Rest(0.4)}, 0.4
	for i, n := range line.Notes {
		cents, at := n.Cents-300+4*rng.NormFloat64(), 0.4+n.Onset*pace
		if i%5 == 3 {
			switch singer {
			case 0:
				cents += 150
			case 1:
				continue
			case 2:
				cents += 45
			}
		}
		if at > now+0.002 {
			notes, now = append(notes, synth.Rest(at-now)), at
		}
		end := 0.4 + (n.Onset+0.95*n.Length)*pace
		notes, now = append(notes, synth.NewSung(440*math.Exp2((cents-6900)/1200), end-now)), end
	}
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Alto}.Sing(append(notes, synth.Rest(0.5)), seed)
	for i, v := range synth.Pink(len(x), seed) {
		x[i] += v * math.Pow(10, -75.0/20)
	}
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if err := audio.WriteWAV(out, rate, x); err != nil {
		t.Fatal(err)
	}
}

// The desk of a real class: its marks are those of the file, with places where the
// planted faults are; pictures, staves and sounds are there; a verdict is in the file,
// and what the terminal does to the file is seen.
func TestFile(t *testing.T) {
	path := harbour(t, true, 4, 2)
	s, address := openSource(t, OfFile(path))
	c := answer[classRecord](t, sent(s, address, "GET", "data/class", ""))
	if c.Name != "Harbour choir (invented)" || c.Counts.Takes != 8 || c.Counts.Missing != 0 || c.Counts.Unmarked != 0 || c.Counts.Unread != 0 {
		t.Fatalf("%+v", c)
	}
	table := answer[tableRecord](t, sent(s, address, "GET", "data/table", ""))
	take := map[string]takeRecord{}
	for _, row := range table.Rows {
		one := answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", row.Cells[1][0]), ""))
		take[row.Name] = one
		if one.Mark == nil || len(one.Mark.Parts) == 0 || one.Stale != "" || !one.Written || one.Seconds < 10 || int64(math.Round(one.Mark.Value*1000)) != row.Cells[1][2] {
			t.Errorf("%s: %+v", row.Name, one)
		}
	}
	// Who sang all is above who left notes out, and who sang them wrong; nothing is said against her.
	if dot := take["Dot"]; !dot.Mark.Pass || dot.Mark.Value <= take["Ana"].Mark.Value || dot.Mark.Value <= take["Bo"].Mark.Value {
		t.Errorf("Dot has %g, Ana %g, Bo %g", dot.Mark.Value, take["Ana"].Mark.Value, take["Bo"].Mark.Value)
	}
	// Each of the notes that Bo left out is spoken of, at its time.
	places := map[int]bool{}
	for _, part := range take["Bo"].Mark.Parts {
		for _, at := range part.Places {
			for n := at.First; n <= at.Last && n >= 0; n++ {
				places[n] = true
			}
			if at.From < 0 || at.To > take["Bo"].Seconds+0.5 || at.Start > at.From || at.From-at.Start > 3 {
				t.Errorf("a place is at %+v", at)
			}
		}
	}
	for n := 3; n < 27; n += 5 {
		if !places[n] {
			t.Errorf("note %d was left out, and no place is about it: %v", n, places)
		}
	}
	id := take["Ana"].ID
	for name, wants := range map[string][]string{
		fmt.Sprintf("data/picture?take=%d&from=2&to=8&width=800", id): {"<svg", "tp-curve", `"left":0.065`, `"from":2,"to":8`},
		fmt.Sprintf("data/staff?take=%d&width=800", id):               {"<svg"},
	} {
		w := sent(s, address, "GET", name, "")
		text := strings.ReplaceAll(w.Body.String(), `\u003c`, "<")
		for _, want := range wants {
			if w.Code != 200 || !strings.Contains(text, want) {
				t.Errorf("%s has no %s: %d %.200s", name, want, w.Code, text)
			}
		}
	}
	for _, part := range []string{"take", "model", "both"} {
		w := sent(s, address, "GET", fmt.Sprintf("data/sound?take=%d&part=%s", id, part), "")
		sound, err := audio.NewWAV(w.Body, part)
		if w.Code != 200 || err != nil {
			t.Errorf("%s: %d, %v", part, w.Code, err)
			continue
		}
		seconds := float64(w.Result().ContentLength) / 2 / float64(sound.SampleRate())
		if math.Abs(seconds-take["Ana"].Seconds) > 0.1 {
			t.Errorf("%s lasts %.2f s, the take %.2f", part, seconds, take["Ana"].Seconds)
		}
	}
	// A verdict, twice; the terminal beside; taken back.
	mark := take["Ana"].Mark
	body := fmt.Sprintf(`{"id":"verdict-1","take":%d,"mark":%d,"chosen":"doubt","pass":%t,"why":"it is good enough"}`, id, mark.ID, !mark.Pass)
	first := answer[reviewReply](t, sent(s, address, "POST", "data/review", body))
	again := answer[reviewReply](t, sent(s, address, "POST", "data/review", body))
	if first.Done != again.Done || first.Turn != c.Turn || first.Counts.Reviewed != 1 || first.Agreement.Heard != 1 {
		t.Errorf("%+v, then %+v", first, again)
	}
	other, address2 := openSource(t, OfFile(path))
	if third := answer[reviewReply](t, sent(other, address2, "POST", "data/review", body)); third.Done != first.Done || third.Counts.Reviewed != 1 {
		t.Errorf("after a restart %+v", third)
	}
	f, err := classfile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	row, err := f.Take(id)
	if err != nil || row.Review == nil || row.Review.Why != "it is good enough" || row.Review.Chosen != class.Doubt || row.Review.ID != first.Done || row.Mark.ID != mark.ID {
		t.Errorf("the file has %+v, %v", row.Review, err)
	}
	if _, err := f.AddStudent(class.Student{Name: "Eva"}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	now := answer[classRecord](t, sent(s, address, "GET", "data/class", ""))
	if now.Counts.Students != 5 || now.Turn == c.Turn {
		t.Errorf("after the terminal there are %d students, turn %d", now.Counts.Students, now.Turn)
	}
	undone := answer[reviewReply](t, sent(s, address, "POST", "data/undo", fmt.Sprintf(`{"id":"undo-0001","take":%d,"review":%d}`, id, first.Done)))
	if undone.Counts.Reviewed != 0 || undone.Turn != now.Turn {
		t.Errorf("%+v", undone)
	}
	answer[reviewReply](t, sent(s, address, "POST", "data/remark", fmt.Sprintf(`{"id":"remark-01","student":%d,"task":0,"words":"Well held."}`, take["Ana"].Student.ID)))
	if got := answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", id), "")); len(got.Remarks) != 1 {
		t.Errorf("%+v", got.Remarks)
	}
}

// A class that is gone, is none, or is in use says so in one line.
func TestFileTrouble(t *testing.T) {
	path := harbour(t, false, 1, 1)
	s, address := openSource(t, OfFile(path))
	table := answer[tableRecord](t, sent(s, address, "GET", "data/table", ""))
	id := table.Rows[0].Cells[0][0]
	take := answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", id), ""))
	ask := func(name string) *httptest.ResponseRecorder { return sent(s, address, "GET", name, "") }
	recording := filepath.Join(filepath.Dir(path), take.Source)
	if err := os.Rename(recording, recording+".moved"); err != nil {
		t.Fatal(err)
	}
	refusal(t, "a recording that is gone", ask(fmt.Sprintf("data/sound?take=%d", id)), 404, "silent", "gone")
	if w := ask(fmt.Sprintf("data/sound?take=%d&part=model", id)); w.Code != 200 {
		t.Errorf("the model is not heard without it: %s", w.Body)
	}
	refusal(t, "a take that is none", ask("data/take?id=999"), 404, "gone")
	if err := os.Rename(path, path+"x"); err != nil {
		t.Fatal(err)
	}
	if w := ask("data/class"); w.Code < 400 || !strings.Contains(w.Body.String(), "harbour.class") {
		t.Errorf("a class that is gone: %d %s", w.Code, w.Body)
	}
	if err := os.WriteFile(path, make([]byte, 4096), 0o600); err != nil {
		t.Fatal(err)
	}
	if w := ask("data/class"); w.Code != 500 || !strings.Contains(w.Body.String(), "no class") {
		t.Errorf("what is no class: %d %s", w.Code, w.Body)
	}
}
