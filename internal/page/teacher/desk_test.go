package teacher

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"singback/calib"
	"singback/internal/class"
	"singback/internal/page"
)

// open serves a class as the page does.
func open(t testing.TB, f *fake) (*page.Server, string) {
	t.Helper()
	return openSource(t, f)
}

func openSource(t testing.TB, source Source) (*page.Server, string) {
	t.Helper()
	site, err := page.New(os.DirFS("../web"), fstest.MapFS{
		"engine.wasm.xz": &fstest.MapFile{Data: []byte("\xfd7zXZ")}, "wasm_exec.js": &fstest.MapFile{Data: []byte("// loader\n")},
	})
	if err != nil {
		t.Fatal(err)
	}
	s := page.NewServer(site, page.Home{
		Record: t.TempDir() + "/record.db", Singer: "Anna", Now: clock,
		Known: func() (page.Known, error) { return page.Known{Singer: "Anna"}, nil },
		Keep:  func(calib.Profile) (string, error) { return "", nil },
		Desk:  New(source, clock).Handlers(),
	}, 4711, t.Output())
	return s, s.DeskAddress()
}

// sent asks the server as the desk does; headers come in pairs.
func sent(s *page.Server, address, method, name, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, address+name, strings.NewReader(body))
	r.RequestURI = r.URL.RequestURI()
	r.URL.Host, r.URL.Scheme = "", ""
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		} else {
			r.Header.Set(headers[i], headers[i+1])
		}
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// answer reads an answer.
func answer[T any](t *testing.T, w *httptest.ResponseRecorder) (out T) {
	t.Helper()
	if w.Code != 200 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// refusal checks an error: its status, its code, one line.
func refusal(t *testing.T, what string, w *httptest.ResponseRecorder, status int, code string, texts ...string) {
	t.Helper()
	var said struct{ Error, Hint, Code string }
	if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said.Error == "" || strings.Contains(said.Error, "\n") || w.Code != status || said.Code != code {
		t.Errorf("%s: %d %s, want %d %s", what, w.Code, w.Body, status, code)
	}
	for _, text := range texts {
		if !strings.Contains(said.Error, text) {
			t.Errorf("%s: %q does not say %q", what, said.Error, text)
		}
	}
	if w.Header().Get("Cache-Control") != "no-store" || !strings.Contains(w.Header().Get("Content-Security-Policy"), "default-src 'none'") {
		t.Errorf("%s: %v", what, w.Header())
	}
}

var reads = []string{
	"", "index.html", "desk.js", "desk.css", "data/class", "data/table", "data/queue", "data/take?id=1", "data/picture?take=1", "data/staff?take=1", "data/sound?take=1",
}

// Everything of the desk is there for its own page, and for nobody else: another host,
// another origin, a page elsewhere, no key.
func TestStrangers(t *testing.T) {
	s, address := open(t, invented(4, 3))
	posts := map[string]string{
		"data/review": `{"id":"12345678","take":1,"mark":1000001,"pass":true,"why":"x"}`, "data/undo": `{"id":"12345679","take":1,"review":1}`,
		"data/remark": `{"id":"12345670","student":1,"words":"well done"}`,
	}
	for _, headers := range [][]string{
		{"Host", "evil.example"}, {"Host", "127.0.0.1:80"}, {"Origin", "http://evil.example"}, {"Origin", "null"}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"},
	} {
		for _, name := range reads {
			refusal(t, fmt.Sprint(name, headers), sent(s, address, "GET", name, "", headers...), 403, "")
		}
		for name, body := range posts {
			refusal(t, fmt.Sprint(name, headers), sent(s, address, "POST", name, body, headers...), 403, "")
		}
	}
	for _, name := range reads {
		refusal(t, name, sent(s, "http://127.0.0.1:4711/"+strings.Repeat("0", 32)+"/desk/", "GET", name, ""), 403, "")
		if w := sent(s, address, "GET", name, "", "Sec-Fetch-Site", "same-origin"); w.Code != 200 || !strings.Contains(w.Header().Get("Content-Security-Policy"), "media-src 'self'") {
			t.Errorf("%q: %d %s", name, w.Code, w.Body)
		}
	}
	for name := range posts {
		if w := sent(s, address, "GET", name, ""); w.Code != 405 || w.Header().Get("Allow") != "POST" {
			t.Errorf("GET %s: %d, %v", name, w.Code, w.Header())
		}
		refusal(t, name, sent(s, address, "POST", name, "{}", "Content-Type", "text/plain"), 415, "wrong")
		refusal(t, name, sent(s, address, "POST", name, `{"id":"`+strings.Repeat("x", maxBody)+`"}`), 413, "wrong")
	}
	for _, name := range []string{"data", "data/", "data/none", "data/class/", "../home.json/x", "data/../data/class", "web", "%2e%2e/", "book.go", "desk.js/"} {
		if w := sent(s, address, "GET", name, ""); w.Code != 404 {
			t.Errorf("%q: %d", name, w.Code)
		}
	}
	for _, method := range []string{"POST", "PUT", "DELETE", "HEAD", "OPTIONS"} {
		if w := sent(s, address, method, "data/class", ""); w.Code != 405 {
			t.Errorf("%s: %d", method, w.Code)
		}
	}
}

// Without a class there is no desk, in a folder for other servers neither.
func TestNoDesk(t *testing.T) {
	site, err := page.New(os.DirFS("../web"), fstest.MapFS{
		"engine.wasm.xz": &fstest.MapFile{Data: []byte("\xfd7zXZ")}, "wasm_exec.js": &fstest.MapFile{Data: []byte("// loader\n")},
	})
	if err != nil {
		t.Fatal(err)
	}
	s := page.NewServer(site, page.Home{Now: clock}, 4711, t.Output())
	for _, name := range reads {
		if w := sent(s, s.DeskAddress(), "GET", name, ""); w.Code != 404 || strings.Contains(w.Header().Get("Content-Security-Policy"), "media-src") {
			t.Errorf("%q: %d", name, w.Code)
		}
	}
	folder := t.TempDir() + "/page"
	if _, err := site.WriteFolder(folder, false); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(folder + "/desk"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder has a desk: %v", err)
	}
	if list, err := os.ReadFile(folder + "/files.json"); err != nil || strings.Contains(string(list), "desk/") {
		t.Errorf("the service worker would keep the desk: %v", err)
	}
}

// Parameters that cannot be meant are named.
func TestWrongInput(t *testing.T) {
	s, address := open(t, invented(4, 3))
	for name, want := range map[string][]string{
		"data/table?most=0": {"most", "from 1 to 200"}, "data/table?most=201": {"most"}, "data/table?first=-1": {"first"}, "data/table?sort=age": {"sort", "value"},
		"data/table?show=x": {"show", "missing"}, "data/table?task=x": {"task"}, "data/table?x=1": {`"x"`}, "data/table?first=1&first=2": {"2 times"},
		"data/table?find=" + strings.Repeat("x", 400): {"find"}, "data/table?%zz": {"parameters"}, "data/table?down=yes": {"down"},
		"data/queue?by=asked": {"by", "sample"}, "data/queue?n=0": {"n"}, "data/take": {"id"}, "data/take?id=0": {"id"}, "data/take?id=x": {"id"},
		"data/picture?take=1&from=5&to=4": {"to"}, "data/picture?take=1&width=5": {"width"}, "data/picture?take=1&from=NaN": {"from"}, "data/picture": {"take"},
		"data/sound?take=1&part=noise": {"part", "model"}, "data/sound": {"take"}, "data/class?x=y": {`"x"`},
	} {
		refusal(t, name, sent(s, address, "GET", name, ""), 400, "wrong", want...)
	}
	for name, code := range map[string]string{"data/take?id=99": "gone", "data/picture?take=99": "gone", "data/sound?take=99": "gone", "data/table?task=9": "gone"} {
		refusal(t, name, sent(s, address, "GET", name, ""), 404, code)
	}
	for body, want := range map[string][]string{
		``: {}, `{`: {"read"}, `[]`: {"read"}, `{"id":"short"}`: {"id"}, `{"id":"12345678"}`: {"take"}, `{"id":"12345678","take":1}`: {"pass"},
		`{"id":"12345678","take":1,"pass":1}`: {"read"}, `{"id":"12345678","take":1,"pass":true,"colour":1}`: {"colour"}, `{"id":"12345678","take":1,"pass":true} {}`: {"more"},
		`{"id":"12345678","take":1,"pass":true,"value":1.5}`: {"value", "0 to 1"}, `{"id":"12345678","take":1,"pass":true,"chosen":"luck"}`: {"chosen"},
		`{"id":"12345678","take":1,"pass":true,"why":"` + strings.Repeat("x", class.MaxWords+1) + `"}`: {"why"}, `{"id":"12345678","take":1,"pass":true,"why":"a\u0007"}`: {"printed"},
		`{"id":"12345678","take":1,"pass":true,"words":"x"}`: {"verdict"},
	} {
		w := sent(s, address, "POST", "data/review", body)
		if body == "" {
			refusal(t, "nothing", w, 415, "wrong")
			continue
		}
		refusal(t, body, w, 400, "wrong", want...)
	}
}

// The table has the rows that were asked for, in the order that was asked for, and all
// of them together are each student once.
func TestTable(t *testing.T) {
	f := invented(123, 4)
	s, address := open(t, f)
	all := answer[tableRecord](t, sent(s, address, "GET", "data/table?most=200", ""))
	if all.Of != 123 || len(all.Rows) != 123 || len(all.Rows[0].Cells) != 4 {
		t.Fatalf("%d rows of %d", len(all.Rows), all.Of)
	}
	for _, order := range []string{"sort=name", "sort=value", "sort=value&task=2&down=1", "sort=unsure&down=1", "sort=missing&down=1", "sort=name&down=1"} {
		var got []tableRow
		for first := 0; first < 140; first += 20 {
			part := answer[tableRecord](t, sent(s, address, "GET", fmt.Sprintf("data/table?%s&first=%d&most=20", order, first), ""))
			got = append(got, part.Rows...)
		}
		seen := map[int64]bool{}
		var keys []float64
		for _, row := range got {
			seen[row.ID] = true
			keys = append(keys, orderKey(order, row))
		}
		if len(got) != 123 || len(seen) != 123 {
			t.Errorf("%s: %d rows, %d students", order, len(got), len(seen))
		}
		for i := 1; i < len(keys) && !strings.HasPrefix(order, "sort=name"); i++ {
			a, b := keys[i-1], keys[i]
			if strings.Contains(order, "down") {
				a, b = b, a
			}
			// What was rounded for the browser may be a thousandth off; nobody's mean stands last.
			if a > b+0.001 || math.IsNaN(keys[i-1]) && !math.IsNaN(keys[i]) {
				t.Errorf("%s: row %d has %g after %g", order, i, keys[i], keys[i-1])
			}
		}
	}
	if got := answer[tableRecord](t, sent(s, address, "GET", "data/table?find=ADA&most=200", "")); got.Of != 8 || !strings.HasPrefix(got.Rows[0].Name, "Ada") {
		t.Errorf("of Ada there are %d", got.Of)
	}
	for show, is := range shows {
		got := answer[tableRecord](t, sent(s, address, "GET", "data/table?most=200&task=3&show="+show, ""))
		want := 0
		g, _ := readGlance(t.Context(), book{f}, Stamp{})
		for s := range g.students {
			if is(*g.at(s, 2)) {
				want++
			}
		}
		if got.Of != want {
			t.Errorf("%s: %d, want %d", show, got.Of, want)
		}
	}
}

// orderKey is what a row was sorted by, as the browser sees it.
func orderKey(order string, row tableRow) float64 {
	sum, n := 0.0, 0.0
	for t, c := range row.Cells {
		switch {
		case strings.Contains(order, "value"):
			if c != nil && flags(c[1])&marked != 0 && (!strings.Contains(order, "task=2") || t == 1) {
				sum, n = sum+float64(c[2])/1000, n+1
			}
		case strings.Contains(order, "unsure"):
			if c != nil && flags(c[1])&unsure != 0 {
				sum++
			}
			n = 1
		case c == nil:
			sum++
			n = 1
		default:
			n = 1
		}
	}
	if strings.Contains(order, "value") && n > 0 {
		return sum / n
	}
	if n == 0 {
		return math.NaN()
	}
	return sum
}

// The queue begins where the machine is least sure, and of equal doubt nearest to the
// pass line; what was reviewed is in it no more. A sample is the same for one seed, is
// drawn from all takes, and a verdict does not change it.
func TestQueue(t *testing.T) {
	f := invented(60, 5)
	s, address := open(t, f)
	got := answer[queueRecord](t, sent(s, address, "GET", "data/queue?most=200", ""))
	if len(got.Items) != 200 || got.Unsure == 0 || got.Left != got.Of {
		t.Fatalf("%+v", got)
	}
	for i := 1; i < len(got.Items); i++ {
		a, b := got.Items[i-1], got.Items[i]
		if a.Doubt < b.Doubt || a.Doubt == b.Doubt && math.Abs(a.Value-a.Line) > math.Abs(b.Value-b.Line)+1e-6 {
			t.Errorf("%d: %+v before %+v", i, a, b)
		}
	}
	sample := answer[queueRecord](t, sent(s, address, "GET", "data/queue?by=sample&n=30&seed=7", ""))
	other := answer[queueRecord](t, sent(s, address, "GET", "data/queue?by=sample&n=30&seed=8", ""))
	if sample.Of != 30 || slices.Equal(sample.Items, other.Items) {
		t.Errorf("%d drawn, the same with another seed", sample.Of)
	}
	first := got.Items[0].Take
	row, _ := book{f}.Take(first)
	answer[reviewReply](t, sent(s, address, "POST", "data/review", fmt.Sprintf(`{"id":"verdict-1","take":%d,"mark":%d,"chosen":"doubt","pass":%t}`, first, row.Mark.ID, row.Mark.Pass)))
	after := answer[queueRecord](t, sent(s, address, "GET", "data/queue?most=200", ""))
	if after.Of != got.Of-1 || after.Items[0].Take != got.Items[1].Take {
		t.Errorf("after a verdict there are %d of %d, the first %d", after.Of, got.Of, after.Items[0].Take)
	}
	again := answer[queueRecord](t, sent(s, address, "GET", "data/queue?by=sample&n=30&seed=7", ""))
	takes := func(q queueRecord) (list []int64) {
		for _, item := range q.Items {
			list = append(list, item.Take)
		}
		return list
	}
	if !slices.Equal(takes(sample), takes(again)) {
		t.Error("a verdict changes the sample")
	}
	// The terminal draws the same.
	var marks []class.Mark
	for _, r := range f.rows {
		if r.Mark != nil {
			marks = append(marks, *r.Mark)
		}
	}
	for i, at := range class.Draw(marks, 30, 7) {
		if marks[at].Take != sample.Items[i].Take {
			t.Errorf("%d is drawn as number %d, not %d", sample.Items[i].Take, i, marks[at].Take)
		}
	}
}

// A verdict is kept once, whatever the key did; one that overrules says why; it can be
// taken back; and a class that another program changed is read anew.
func TestReview(t *testing.T) {
	f := invented(10, 3)
	s, address := open(t, f)
	id := f.rows[0].ID
	row := f.rows[0]
	verdict := func(key string, pass bool, why string) string {
		return fmt.Sprintf(`{"id":%q,"take":%d,"mark":%d,"chosen":"doubt","pass":%t,"why":%q}`, key, id, row.Mark.ID, pass, why)
	}
	before := answer[classRecord](t, sent(s, address, "GET", "data/class", ""))
	refusal(t, "without a word", sent(s, address, "POST", "data/review", verdict("verdict-1", !row.Mark.Pass, " ")), 400, "why")
	one := answer[reviewReply](t, sent(s, address, "POST", "data/review", verdict("verdict-1", !row.Mark.Pass, "the room was loud")))
	two := answer[reviewReply](t, sent(s, address, "POST", "data/review", verdict("verdict-1", !row.Mark.Pass, "the room was loud")))
	if one.Done != two.Done || f.writes != 1 || f.reviews != 1 || one.Flags&(reviewed|overruled) != reviewed|overruled {
		t.Errorf("%+v, then %+v; %d writes", one, two, f.writes)
	}
	if one.Turn != before.Turn || one.Counts.Reviewed != before.Counts.Reviewed+1 || one.Agreement.Heard != 1 || one.Agreement.Same != 0 {
		t.Errorf("after a verdict %+v, before %+v", one, before)
	}
	take := answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", id), ""))
	if take.Review == nil || take.Review.Why != "the room was loud" || take.Mark.Pass == take.Review.Pass || take.Review.Value != nil || take.Mark.ID != row.Mark.ID || len(take.Mark.Parts) != 3 ||
		take.Mark.Parts[0].Name != "notes" || take.Mark.Parts[0].Weight != 0.6 || take.Mark.Parts[0].Places[0].Start != 1.6 {
		t.Errorf("%+v", take)
	}
	refusal(t, "an old mark", sent(s, address, "POST", "data/review", strings.Replace(verdict("verdict-2", true, "x"), fmt.Sprint(row.Mark.ID), "5", 1)), 409, "changed")
	refusal(t, "another's review", sent(s, address, "POST", "data/undo", fmt.Sprintf(`{"id":"undo-0000","take":%d,"review":77}`, id)), 409, "changed")
	undone := answer[reviewReply](t, sent(s, address, "POST", "data/undo", fmt.Sprintf(`{"id":"undo-0001","take":%d,"review":%d}`, id, one.Done)))
	if undone.Counts != before.Counts || undone.Agreement.Heard != 0 || f.rows[0].Review != nil {
		t.Errorf("after undo %+v, want %+v", undone.Counts, before.Counts)
	}
	said := answer[reviewReply](t, sent(s, address, "POST", "data/remark", fmt.Sprintf(`{"id":"remark-01","student":%d,"task":%d,"words":"Well held."}`, row.Student, row.Task)))
	take = answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", id), ""))
	if said.Done == 0 || len(take.Remarks) != 1 || take.Remarks[0].Words != "Well held." || take.Remarks[0].At != "2026-11-28T09:30:00Z" {
		t.Errorf("%+v", take.Remarks)
	}
	// Another program.
	f.busy = true
	refusal(t, "busy", sent(s, address, "POST", "data/review", verdict("verdict-3", row.Mark.Pass, "")), 409, "busy", "harbour.class")
	f.busy = false
	f.change(func() { f.name = "another name" })
	now := answer[classRecord](t, sent(s, address, "GET", "data/class", ""))
	if now.Name != "another name" || now.Turn <= before.Turn {
		t.Errorf("%q, turn %d after %d", now.Name, now.Turn, before.Turn)
	}
	f.change(func() { f.ill = errors.New("harbour.class: it is damaged") })
	refusal(t, "damaged", sent(s, address, "GET", "data/class", ""), 500, "class", "damaged")
}

// A sound comes in parts, as an audio element asks for it (RFC 9110, 14).
func TestSound(t *testing.T) {
	s, address := open(t, invented(4, 3))
	whole := sent(s, address, "GET", "data/sound?take=1", "")
	data := whole.Body.Bytes()
	if whole.Code != 200 || whole.Header().Get("Accept-Ranges") != "bytes" || whole.Header().Get("Content-Type") != "audio/wav" || len(data) != 44+20*8000*2 {
		t.Fatalf("%d, %v, %d bytes", whole.Code, whole.Header(), len(data))
	}
	for ranges, want := range map[string][2]int{"bytes=100-199": {100, 200}, "bytes=320000-": {320000, len(data)}, "bytes=-10": {len(data) - 10, len(data)}} {
		w := sent(s, address, "GET", "data/sound?take=1", "", "Range", ranges)
		if w.Code != 206 || w.Body.String() != string(data[want[0]:want[1]]) || w.Header().Get("Content-Range") != fmt.Sprintf("bytes %d-%d/%d", want[0], want[1]-1, len(data)) {
			t.Errorf("%s: %d, %v", ranges, w.Code, w.Header())
		}
	}
	if w := sent(s, address, "GET", "data/sound?take=1", "", "Range", "bytes=999999-"); w.Code != 416 {
		t.Errorf("beyond the end: %d", w.Code)
	}
	silent := sent(s, address, "GET", "data/take?id=5", "")
	take := answer[takeRecord](t, silent)
	for id := int64(1); take.Task.ID != 2; id++ {
		take = answer[takeRecord](t, sent(s, address, "GET", fmt.Sprintf("data/take?id=%d", id), ""))
	}
	refusal(t, "no model", sent(s, address, "GET", fmt.Sprintf("data/sound?take=%d&part=model", take.ID), ""), 404, "silent", "model")
	var kept sounds
	for i := range 10 {
		kept.put(fmt.Sprint(i), make([]byte, maxSounds/4))
	}
	if _, ok := kept.get("9"); !ok || kept.bytes > maxSounds || kept.last.Len() != 4 {
		t.Errorf("%d sounds of %d bytes are kept", kept.last.Len(), kept.bytes)
	}
}

// A class of an online course is shown in a moment.
func TestLarge(t *testing.T) {
	if testing.Short() {
		t.Skip("200 000 takes")
	}
	f := invented(5000, 40)
	s, address := open(t, f)
	got := answer[tableRecord](t, sent(s, address, "GET", "data/table?sort=value&first=4000&most=50", ""))
	if got.Of != 5000 || len(got.Rows) != 50 {
		t.Errorf("%d rows of %d", len(got.Rows), got.Of)
	}
}
