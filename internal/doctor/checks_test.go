package doctor

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"singback/calib"
	"singback/internal/device"
)

func size(columns, rows int) TerminalFact {
	return TerminalFact{Screen: true, Columns: &columns, Rows: &rows, Colours: 16}
}

// Each rule: the state, what is said, and that there is something to do unless all
// is well.
func TestChecks(t *testing.T) {
	devices := []device.Info{
		{Name: "in", HostAPI: "ALSA", Inputs: 2, SampleRate: 48000, DefaultInput: true},
		{Name: "out", HostAPI: "ALSA", Outputs: 2, SampleRate: 44100, DefaultOutput: true},
	}
	quiet := Room{Rate: 48000, Peak: -50, Noise: calib.Noise{Floor: -65, Loud: -60}}
	with := func(change func(*Room)) Room { r := quiet; change(&r); return r }
	heard := Sounded{Probes: 3, Heard: 3, Echo: calib.Echo{Heard: true, Level: -18, Delay: .09}, Tone: Steady{Heard: true, Judged: true, Over: 50, Seconds: 9.95}}
	sounded := func(change func(*Sounded)) Sounded { s := heard; change(&s); return s }
	here := NewPlace("folder", "/a/b", 0o700, true)
	for _, c := range []struct {
		rule  string
		check Check
		state State
		says  string
	}{
		{"a build with sound", Build("singback v1\nmore", true), Well, "singback v1, with PortAudio"},
		{"a build without", Build("singback v1\nmore", false), Fails, "without PortAudio"},
		{"devices", Devices(devices, nil), Well, `2 found; microphone "in" (48000 Hz, ALSA), loudspeaker "out" (44100 Hz, ALSA)`},
		{"no default loudspeaker", Devices(devices[:1], nil), Note, "loudspeaker not chosen by the system"},
		{"no devices", Devices(nil, device.ErrNoDevice), Fails, "no sound device"},
		{"a quiet room", Hears(quiet, false, nil), Well, "the room at -65 dBFS, peak -50, at 48000 Hz"},
		{"overloaded", Hears(with(func(r *Room) { r.Clipped = true }), false, nil), Note, "overloaded"},
		{"lost samples", Hears(with(func(r *Room) { r.Lost = 480 }), false, nil), Note, "the driver lost 480 samples in 3 s"},
		{"somebody talks", Hears(with(func(r *Room) { r.Noise.Voiced = .5 }), false, nil), Note, "a voice was heard"},
		{"a headset", Hears(with(func(r *Room) { r.Rate = 16000 }), false, nil), Note, "telephone quality"},
		{"a loud room", Hears(with(func(r *Room) { r.Noise.Floor = -40 }), false, nil), Note, "louder than"},
		{"no hum", Hum(quiet), Well, "neither 50 nor 60 Hz"},
		{"hum", Hum(with(func(r *Room) { r.Noise.Floor, r.Noise.Hum, r.Noise.HumLevel = -55, 60, -56 })), Note, "mains hum of 60 Hz at -56 dBFS"},
		{"faint hum", Hum(with(func(r *Room) { r.Noise.Floor, r.Noise.Hum, r.Noise.HumLevel = -80, 50, -82 })), Well, "too soft to matter"},
		{"a fan", Hum(with(func(r *Room) { r.Noise.Fan, r.Noise.Broadband = true, -58 })), Note, "a fan or the like at -58 dBFS"},
		{"a loudspeaker", Opens(48000, 100*time.Millisecond, nil), Well, "opens at 48000 Hz; the driver states 100 ms"},
		{"a headset that plays", Opens(8000, 0, nil), Note, "telephone quality"},
		{"none", Opens(0, 0, errors.New("busy")), Fails, "busy"},
		{"heard back", heard.back(), Note, "heard back at -18 dB against what was played, after 90 ms"},
		{"late now and then", sounded(func(s *Sounded) { s.Scatter = .05 }).back(), Note, "the delay moves by 50 ms"},
		{"not heard back", Sounded{Probes: 3}.back(), Note, "not heard back"},
		{"the tone alone", Sounded{Probes: 3, Tone: Steady{Heard: true, Over: 14}}.back(), Note, "heard back 14 dB over the noise"},
		{"whole", heard.whole(), Well, "none in 9.9 s"},
		{"too soft to tell", Sounded{}.whole(), LeftOut, "not heard well enough"},
		{"gaps", sounded(func(s *Sounded) { s.Tone.Dropouts = []Dropout{{2, .01}, {3, .02}} }).whole(), Fails, "2 dropouts in 9.9 s, the first after 2.0 s, the longest 20 ms"},
		{"a jump", sounded(func(s *Sounded) { s.Tone.Dropouts = []Dropout{{2, 0}} }).whole(), Fails, "1 dropout in 9.9 s, the first after 2.0 s: samples were lost"},
		{"cut short", sounded(func(s *Sounded) { s.Tone.Seconds = 9 }).whole(), Note, "but 10 s were played"},
		{"two clocks", sounded(func(s *Sounded) { s.Tone.Drift = -1500 }).whole(), Note, "differ by -1500 ppm"},
		{"a driver that says nothing", heard.drivers(), Well, "lost 0 samples, ran out of sound 0 times"},
		{"a driver that complains", sounded(func(s *Sounded) { s.Underruns = 2 }).drivers(), Note, "ran out of sound 2 times"},
		{"a pipe", Terminal(TerminalFact{}), Well, "none"},
		{"a terminal", Terminal(size(80, 24)), Well, "80 columns, 24 lines, 16 colours"},
		{"a narrow one", Terminal(size(79, 24)), Note, "79 columns"},
		{"a low one", Terminal(size(80, 23)), Note, "23 lines"},
		{"UTF-8", Locale(TerminalFact{Locale: "de_DE.UTF-8", UTF8: true}), Well, "de_DE.UTF-8"},
		{"no locale", Locale(TerminalFact{}), Note, "none is set"},
		{"a folder of one's own", here.Kept("", nil, ""), Well, "/a/b (0700)"},
		{"a folder for all", NewPlace("folder", "/a/b c", 0o755, true).Kept("", nil, ""), Note, "/a/b c (0755)"},
		{"read-only", NewPlace("record", "/a/b", 0o400, false).Kept("", nil, ""), Fails, "cannot be written"},
		{"a system without rights", NewPlace("folder", `C:\a`, 0, true).Kept("", nil, ""), Well, `C:\a`},
		{"not there", Place{What: "record", Path: "/a", Writable: true}.Kept("", nil, ""), Well, "not there yet"},
		{"not to be made", Place{What: "record", Path: "/a"}.Kept("", nil, ""), Fails, "cannot be made"},
		{"damaged", here.Kept("", errors.New("it is damaged\nat line 3"), "see"), Fails, "it is damaged; at line 3"},
		{"no ffmpeg", Program("", "sudo apt install ffmpeg"), Note, "not installed"},
		{"ffmpeg", Program("/usr/bin/ffmpeg", ""), Well, "/usr/bin/ffmpeg"},
	} {
		if c.check.State != c.state || !strings.Contains(c.check.Found, c.says) {
			t.Errorf("%s: %+v, want %s and %q", c.rule, c.check, c.state, c.says)
		}
		if has := c.check.Do != nil && *c.check.Do != ""; has == (c.state == Well) {
			t.Errorf("%s: %+v: want something to do unless all is well", c.rule, c.check)
		}
	}
	if k := NewPlace("folder", "/a/b c'd", 0o755, true).Kept("", nil, ""); *k.Do != `type: chmod 700 '/a/b c'\''d'` {
		t.Errorf("%s", *k.Do)
	}
}

// NO_COLOR as no-color.org has it, the rest is common practice.
func TestColours(t *testing.T) {
	for _, c := range []struct {
		env  map[string]string
		want int
	}{
		{map[string]string{}, 0},
		{map[string]string{"TERM": "dumb", "COLORTERM": "truecolor"}, 0},
		{map[string]string{"TERM": "xterm-256color", "NO_COLOR": "1"}, 0},
		{map[string]string{"TERM": "xterm-256color", "NO_COLOR": ""}, 256},
		{map[string]string{"TERM": "screen-256color", "COLORTERM": "truecolor"}, 1 << 24},
		{map[string]string{"TERM": "linux"}, 16},
	} {
		if got := Colours(func(s string) string { return c.env[s] }); got != c.want {
			t.Errorf("%v: %d colours, want %d", c.env, got, c.want)
		}
	}
}

func TestReport(t *testing.T) {
	r := Report{Schema: 1}
	r.Add(well("build", "all"), note("folder", "open to all", "type: chmod 700 /a"), fails("microphone", "muted?", "look at it"), leftOut("tone", "nothing was played", "singback doctor --tone plays"))
	want := `well      build       all
note      folder      open to all. Type: chmod 700 /a
fails     microphone  muted? Look at it
left out  tone        nothing was played. singback doctor --tone plays
`
	if got := r.Text(); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
	if f := r.Failed(); len(f) != 1 || f[0] != "microphone" {
		t.Errorf("%q", f)
	}
	s := Sounded{Echo: calib.Echo{Heard: true, Level: -.04}, Tone: Steady{Judged: true, Dropouts: []Dropout{{1.234, .0125}}}}
	b, err := json.Marshal(s.Record())
	if err != nil || strings.Contains(string(b), "-0,") || !strings.Contains(string(b), `"dropouts":[{"at_s":1.23,"length_ms":12.5}]`) {
		t.Errorf("%s, %v", b, err)
	}
}
