package page_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
)

// La is a recording of a good la, in tune.
func la(t testing.TB) recording { return recordingNamed(t, "la-eb-major-tenor") }

func recordingNamed(t testing.TB, name string) recording {
	t.Helper()
	for _, r := range recordings(t) {
		if r.name == name {
			return r
		}
	}
	t.Fatalf("no recording %s", name)
	return recording{}
}

// row is an answer of the record.
type row struct {
	Session string
	Number  int
	Singer  string
	Outcome string
	Cents   *float64
}

// rows are the answers in the program's record.
func (p program) rows(t testing.TB) (all []row) {
	t.Helper()
	out, _ := p.run(t, "record", "export", "--format", "jsonl")
	for line := range strings.Lines(out) {
		all = append(all, read[row](t, []byte(line)))
	}
	return all
}

// keptHere are the answers in the browser's own database.
func (p *tab) keptHere() (all []row) {
	p.t.Helper()
	lines := evaluate[[]string](p, `new Promise((done, failed) => {
		const opening = indexedDB.open("singback");
		opening.onerror = () => failed(opening.error);
		opening.onsuccess = () => {
			const db = opening.result;
			if (!db.objectStoreNames.contains("answers")) return done([]);
			const all = db.transaction("answers").objectStore("answers").getAll();
			all.onerror = () => failed(all.error);
			all.onsuccess = () => { db.close(); done(all.result); };
		};
	})`)
	for _, line := range lines {
		all = append(all, read[row](p.t, []byte(line)))
	}
	return all
}

// exported presses Export and returns the file that the browser is handed.
func (p *tab) exported() (name, text string) {
	p.t.Helper()
	dir := p.t.TempDir()
	_, err := chromedp.CallBrowser(p.ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{
		Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir,
	})
	p.must(err)
	p.closeTroubles()
	p.go_("record")
	p.press("Export")
	p.await("what Export says", `document.getElementById("troubles").innerText.includes(".csv")`)
	var files []string
	p.until("the file of Export", func() bool {
		files, _ = filepath.Glob(filepath.Join(dir, "*.csv"))
		return len(files) == 1
	})
	data, err := os.ReadFile(files[0])
	p.must(err)
	return filepath.Base(files[0]), string(data)
}

// imported hands a file to Import and returns what the page says of it.
func (p *tab) imported(text string) string {
	p.t.Helper()
	file := filepath.Join(p.t.TempDir(), "import.csv")
	p.must(os.WriteFile(file, []byte(text), 0o600))
	p.closeTroubles()
	p.go_("help")
	p.go_("record")
	p.await("Import", button("Import a file"))
	ctx, cancel := context.WithTimeout(p.ctx, hangs)
	defer cancel()
	p.must(chromedp.Do(ctx, chromedp.SetUploadFiles(chromedp.CSS(`input[accept=".csv,.jsonl,text/csv"]`), []string{file}, chromedp.NodeReady)))
	p.await("what Import says", `/answers? read/.test(document.getElementById("troubles").innerText)`)
	return p.troubles()
}

func same(a, b row) bool {
	return a.Session == b.Session && a.Number == b.Number && a.Outcome == b.Outcome &&
		(a.Cents == nil) == (b.Cents == nil) && (a.Cents == nil || math.Abs(*a.Cents-*b.Cents) < 1e-9)
}

// On the computer of the terminal an answer is in its record when the verdict is told;
// Export hands out what record export does, and another record takes it; Import takes
// what record export writes, and adds nothing twice.
func TestBrowserRecordOfTheComputer(t *testing.T) {
	needBrowser(t)
	prog, other := newProgram(t), newProgram(t)
	p := open(t, browse(t), prog.serve(t))
	v := p.answer(la(t))
	if v.Outcome != "in_tune" {
		t.Fatalf("the answer was %s", v)
	}
	var said verdict
	for _, e := range p.events {
		if e.Event == "verdict" {
			said = read[verdict](t, e.Detail)
		}
	}
	all := prog.rows(t)
	if n := len(all); n == 0 || all[n-1].Outcome != "in_tune" || math.Abs(*all[n-1].Cents-*said.Cents) > 0.006 {
		t.Fatalf("the record has %+v, and the page told %s", all, said)
	}
	name, text := p.exported()
	if want, _ := prog.run(t, "record", "export", "--format", "csv"); text != want {
		t.Errorf("%s has\n%s, and record export writes\n%s", name, text, want)
	}
	file := filepath.Join(t.TempDir(), "answers.csv")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	other.run(t, "record", "import", file)
	if got := other.rows(t); len(got) != len(all) || !same(got[0], all[0]) {
		t.Errorf("imported %+v, want %+v", got, all)
	}
	if said, want := p.imported(text), fmt.Sprintf("0 added, %d there already", len(all)); !strings.Contains(said, want) {
		t.Errorf("of the same again the page says %q, want %q", said, want)
	}
	p.calm()
}

// As files on a web server an answer is in the browser's database when the verdict is
// told; record import takes what Export hands out, and Import what record export writes;
// Delete deletes it. A singer's name and a course's title may be anything.
func TestBrowserRecordOfTheBrowser(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	p := open(t, browse(t), serveFolder(t, prog.folder(t)))
	from := p.heard()
	p.go_(la(t).address())
	p.press("Start")
	_, from = p.event(from, "listening")
	sing(t, la(t).path)
	got, _ := p.event(from, "verdict")
	said := read[verdict](t, got.Detail)
	all := p.keptHere()
	if len(all) != 1 || all[0].Outcome != said.Outcome || math.Abs(*all[0].Cents-*said.Cents) > 0.006 {
		t.Fatalf("the browser keeps %+v, and the page told %s", all, said)
	}
	_, text := p.exported()
	file := filepath.Join(t.TempDir(), "answers.csv")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	prog.run(t, "record", "import", file)
	there := prog.rows(t)
	if len(there) != 1 || !same(there[0], all[0]) {
		t.Fatalf("record import made %+v of %+v", there, all)
	}
	p.go_("record")
	p.press("Delete")
	p.press("Delete it all")
	p.await("the end of the record", `document.body.innerText.includes("Nothing recorded yet")`)
	if left := p.keptHere(); len(left) != 0 {
		t.Errorf("after Delete there is %+v", left)
	}
	csv, _ := prog.run(t, "record", "export")
	if said := p.imported(csv); !strings.Contains(said, "1 answer read, 1 added") {
		t.Errorf("of an export the page says %q", said)
	}
	if back := p.keptHere(); len(back) != 1 || !same(back[0], all[0]) {
		t.Errorf("imported %+v, want %+v", back, all)
	}
	if said := p.imported(csv); !strings.Contains(said, "0 added, 1 there already") {
		t.Errorf("of the same again the page says %q", said)
	}
	p.calm()
}
