package handin

import (
	"context"
	"net/http"
	"os"
	"strings"
	"testing"

	"singback/internal/testkit/davserver"
)

// shownLines are the lines of a block of the handbook's topic from one that begins so to one
// that is so, for a server of the test's.
func shownLines(t *testing.T, from, to string) string {
	t.Helper()
	b, err := os.ReadFile("../help/handin.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(b), "\n    "+from)
	block, _, ended := strings.Cut(rest, "\n    "+to+"\n")
	if !ok || !ended {
		t.Fatalf("the topic handin shows no lines from %s to %s", from, to)
	}
	block = strings.ReplaceAll(from+block+"\n"+to+"\n", "\n    ", "\n")
	return strings.NewReplacer("/dav/class/", "/class/", "/etc/apache2/class.users", "DIR/users", "/etc/nginx/class.users", "DIR/users").Replace(block)
}

// The lines that the handbook shows for Apache and nginx let a browser's page in, from that
// address and no other (Fetch standard, 3.2: a preflight without a password, answered by 200 to
// 299, with the methods and headers allowed), and nobody without a password.
func TestShownLinesLetPagesIn(t *testing.T) {
	for name, run := range map[string]func() *davserver.Server{
		"apache": func() *davserver.Server {
			return davserver.Apache(t, shownLines(t, "<Location /dav/class/>", "</Location>"))
		},
		"nginx": func() *davserver.Server {
			return davserver.Nginx(t, shownLines(t, "location /dav/class/ {", "}"))
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := run()
			for _, method := range []string{"PROPFIND", "PUT", "MOVE", "GET"} {
				r, err := http.NewRequest(http.MethodOptions, s.Address+"/class/take.wav", nil)
				if err != nil {
					t.Fatal(err)
				}
				r.Header.Set("Origin", "https://example.net")
				r.Header.Set("Access-Control-Request-Method", method)
				r.Header.Set("Access-Control-Request-Headers", "authorization,content-type,depth,destination,overwrite")
				got, err := http.DefaultTransport.RoundTrip(r)
				if err != nil {
					t.Fatal(err)
				}
				got.Body.Close()
				h := got.Header
				if got.StatusCode/100 != 2 || h.Get("Access-Control-Allow-Origin") != "https://example.net" || !strings.Contains(h.Get("Access-Control-Allow-Methods"), method) {
					t.Errorf("%s: status %d, %v", method, got.StatusCode, h)
				}
				for _, want := range []string{"Authorization", "Content-Type", "Depth", "Destination", "Overwrite"} {
					if !strings.Contains(h.Get("Access-Control-Allow-Headers"), want) {
						t.Errorf("%s: headers %q", method, h.Values("Access-Control-Allow-Headers"))
					}
				}
			}
			text := sound(usual - 5)
			if got, err := quick(t, s.Address+"/class", anna, solfa).Send(context.Background(), umlaut, strings.NewReader(text), int64(len(text)), nil); err != nil || got.Pieces != 0 {
				t.Errorf("%+v, %v", got, err)
			}
			if _, err := quick(t, s.Address+"/class", "", "").Send(context.Background(), "a", strings.NewReader("la"), 2, nil); !isKind(err, Password) {
				t.Errorf("without a password: %v", err)
			}
		})
	}
}
