package page_test

import (
	"math"
	"net/url"
	"testing"
)

// address is the drill that asks for what a recording answers.
func (r recording) address() string {
	q := url.Values{
		"key": {r.says["key"]}, "octave": {r.says["tonic_octave"]}, "degrees": {r.says["asked"]}, "tolerance": {r.says["tolerance"]},
		"count": {"1"}, "set": {"tonic"}, "think": {"0"}, "compare": {"false"}, "retry": {"never"}, "timeout": {"4"},
	}
	return "sing?" + q.Encode()
}

// judged is what the program says of the recording.
func (r recording) judged(t *testing.T, p program) verdict {
	t.Helper()
	out, _ := p.run(t, "judge", "--format", "json", "--degree", r.says["asked"], r.path,
		"--key", r.says["key"], "--octave", r.says["tonic_octave"], "--tolerance", r.says["tolerance"])
	return read[verdict](t, []byte(out))
}

// answer runs the drill of a recording and answers with it.
func (p *tab) answer(r recording) (v verdict) {
	p.t.Helper()
	for range tries {
		from := p.heard()
		p.go_("help")
		p.go_(r.address())
		p.press("Start")
		_, from = p.event(from, "listening")
		sing(p.t, r.path)
		got, from := p.event(from, "verdict")
		p.event(from, "summary")
		v = read[verdict](p.t, got.Detail)
		if v.Reason == nil || *v.Reason != "lost_samples" {
			return v
		}
		p.t.Logf("%s: not heard whole", r.name)
	}
	return v
}

// Every recording that is sung into the browser's microphone gets the verdict that judge
// gives it as a file: the same outcome and degree, and the same pitch within a cent.
func TestBrowserRecordings(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	p := open(t, browse(t), prog.serve(t))
	var worst float64
	for _, r := range recordings(t) {
		want, got := r.judged(t, prog), p.answer(r)
		if got.String() != want.String() {
			t.Errorf("%s: %s, want %s", r.name, got, want)
			continue
		}
		if want.Cents == nil {
			t.Logf("%s: %s", r.name, got)
			continue
		}
		off := math.Abs(*got.Cents - *want.Cents)
		worst = max(worst, off)
		t.Logf("%s: %s, %.2f cents, as a file %.2f", r.name, got, *got.Cents, *want.Cents)
		if off > 1 {
			t.Errorf("%s: %.2f cents, want %.2f ± 1", r.name, *got.Cents, *want.Cents)
		}
	}
	t.Logf("the largest distance of a pitch from that of the file: %.2f cents", worst)
	p.calm()
}
