package teacher

import (
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"
)

// FuzzDesk asks for whatever can be said in an address or a body: what cannot be meant
// is told in one sentence, and nothing else is kept than what was meant.
func FuzzDesk(f *testing.F) {
	for _, name := range []string{
		"table?first=1&most=3&sort=value&down=1&task=1&show=unsure&find=a", "queue?by=sample&n=3&seed=4", "take?id=1", "picture?take=1&from=1&to=2&width=300", "sound?take=1&part=both", "staff?take=1", "class",
	} {
		f.Add(name, "")
	}
	f.Add("review", `{"id":"12345678","take":1,"mark":1000001,"chosen":"doubt","pass":true,"value":0.5,"why":"x"}`)
	f.Add("undo", `{"id":"12345679","take":1,"review":1}`)
	f.Add("remark", `{"id":"12345670","student":1,"task":1,"words":"x"}`)
	f.Fuzz(func(t *testing.T, asked, body string) {
		class := invented(4, 3)
		handlers := New(class, clock).Handlers()
		name, query, _ := strings.Cut(asked, "?")
		method := "GET"
		if body != "" {
			method = "POST"
		}
		do := handlers[name][method]
		if do == nil {
			return
		}
		r := httptest.NewRequest(method, "/", strings.NewReader(body))
		r.URL.RawQuery = query
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		if err := do(w, r); err != nil {
			why, ok := told(err).(refused)
			if !ok || why.status < 400 || why.status >= 500 || why.text == "" || why.code == "" {
				t.Errorf("%s %q: %#v", asked, body, err)
			}
			if class.writes != 0 {
				t.Errorf("%s %q was refused, and something was kept", asked, body)
			}
			return
		}
		if w.Header().Get("Content-Type") == "application/json" && !json.Valid(w.Body.Bytes()) {
			t.Errorf("%s: %q", asked, w.Body)
		}
	})
}
