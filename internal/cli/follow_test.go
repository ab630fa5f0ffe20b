package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
	"singback/theory"
)

// songRate is that of the songs here, in hertz: a low one is read sooner.
const songRate = 16000

// pressed is a key at a moment, in seconds of the song.
type pressed struct {
	at  float64
	key byte
}

// sungLive has somebody at a terminal sing a song and press keys, in no time. change
// may change the flags; the song may end with an error of the microphone.
func sungLive(t *testing.T, x []float64, keys []pressed, fails error, change func(*followOptions)) (stdout, stderr string, err error) {
	t.Helper()
	var out, errs bytes.Buffer
	in, typing := io.Pipe() // nobody types by itself
	defer typing.Close()
	e := &env{
		stdin: in, stdout: &out, stderr: &errs, now: clock, terminal: func(any) bool { return true },
		getenv: func(string) string { return "" }, raw: func(any) func() { return func() {} },
	}
	o := &followOptions{format: newFormat("text", "json", "csv")}
	o.cmd = newFollow(e)
	o.home, o.line, o.by, o.meter, o.style, o.names, o.chords, o.to = homeFirst, lineBass, bySinging, "4/4", "hymn", "movable", "numerals", "text"
	o.a4, o.loudness, o.output = theory.DefaultA4, -23, outputNone
	if change != nil {
		change(o)
	}
	w, err := o.check(e)
	if err != nil {
		t.Fatal(err)
	}
	src := &testkit.Source{Rate: songRate}
	l := &follower{o: o, e: e, w: w, src: src, ctx: t.Context(), ended: make(chan struct{})}
	from := 0
	for _, k := range keys {
		to := min(int(k.at*songRate), len(x))
		src.Cues = append(src.Cues, testkit.Cue{Samples: x[from:to]}, testkit.Cue{Do: func() { l.key(k.key) }})
		from = to
	}
	src.Cues = append(src.Cues, testkit.Cue{Samples: x[from:], Err: fails})
	err = l.takeDown()
	return out.String(), errs.String(), err
}

// firstSong is what the simulated singer sings with seed 3 in G major at 88, one of its
// basses in bars, and when the beats are.
func firstSong(t *testing.T) (s song, beats []float64) {
	t.Helper()
	key := theory.Key{Tonic: theory.Note{Letter: theory.G}}
	s, err := newSong(3, following{key: &key}, 88, songRate)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.beats {
		beats = append(beats, s.first+float64(i)*60/88)
	}
	return s, beats
}

const firstBass = `bass   | do - la, - | fa - sol, - | do - do - | la, - fa - |`

// Live, in a terminal: home is sung twice and confirmed, the beat is tapped, q ends;
// what is sung before and behind is no part of it.
func TestFollowLive(t *testing.T) {
	t.Parallel()
	s, beats := firstSong(t)
	home := s.samples[:int(3.2*songRate)]
	// Another note first, that is no home: the singer tries again.
	wrong := slices.Clone(home)
	for i := range wrong {
		wrong[i] = home[int(float64(i)*0.94)]
	}
	x := append(slices.Clone(wrong), s.samples...)
	off := float64(len(wrong)) / songRate
	keys := []pressed{{off + 3.3, '\r'}}
	for i, at := range beats {
		keys = append(keys, pressed{off + at + []float64{0.02, -0.03, 0, 0.03, -0.01}[i%5], ' '})
	}
	keys = append(keys, pressed{off + beats[len(beats)-1] + 0.9, 'q'})
	stdout, stderr, err := sungLive(t, x, keys, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(stdout, "key: G major\nmeter: 4/4\n") || !strings.Contains(stdout, firstBass) {
		t.Errorf("%s", stdout)
	}
	if n := strings.Count(stderr, "Enter: that is it"); n != 2 || !strings.Contains(stderr, "Space: tap each beat") || !strings.Contains(stderr, " s  la   ") {
		t.Errorf("home was offered %d times:\n%s", n, stderr)
	}
}

// Nothing is lost where the microphone fails; Enter ends, too, and without taps there
// are no bars; a click gives them.
func TestFollowLiveEnds(t *testing.T) {
	t.Parallel()
	s, _ := firstSong(t)
	confirm := pressed{3.3, '\r'}
	stdout, stderr, err := sungLive(t, s.samples[:12*songRate], []pressed{confirm}, errors.New("unplugged"), nil)
	if err != nil || !strings.Contains(stdout, "| do la, fa sol, do") || !strings.Contains(stderr, "The microphone failed; what was heard before is taken down. (unplugged)") {
		t.Errorf("%v\n%s%s", err, stdout, stderr)
	}
	stdout, stderr, err = sungLive(t, s.samples, []pressed{{1, '\r'}, confirm, {8.7, '\r'}}, nil, nil)
	if err != nil || !strings.Contains(stdout, "| do la, fa sol, |") || !strings.Contains(stderr, "No home was heard yet") || !strings.Contains(stderr, "there are no bars") {
		t.Errorf("%v\n%s%s", err, stdout, stderr)
	}
	// The click counts a bar in from the moment at which home is confirmed.
	bar := 4 * 60.0 / 88
	stdout, stderr, err = sungLive(t, append(make([]float64, int((bar-s.first+3.3)*songRate)), s.samples...),
		[]pressed{{bar - s.first + 3.3 + 3.3, '\r'}}, nil, func(o *followOptions) { o.tempo = 88; o.output = outputNone })
	if err != nil || !strings.Contains(stdout, "meter: 4/4\ntempo: 88\n") || !strings.Contains(stderr, "a click counts one bar in") {
		t.Errorf("%v\n%s%s", err, stdout, stderr)
	}
	if _, _, err = sungLive(t, make([]float64, 3*songRate), []pressed{{1, 'q'}}, nil, nil); err == nil || !strings.Contains(err.Error(), "sing do before the song") {
		t.Errorf("nothing was sung: %v", err)
	}
}

// A recording: with a home, with one that is found or named, and kept as it was sung.
func TestFollowRecording(t *testing.T) {
	t.Parallel()
	s, beats := firstSong(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "bass.wav")
	f, err := os.Create(path)
	if err == nil {
		err = errors.Join(audio.WriteWAV(f, songRate, s.samples), f.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	var times strings.Builder
	for i, at := range beats {
		times.WriteString(strings.Join([]string{decimal(at), decimal(float64(i%4 + 1))}, " ") + "\n")
	}
	taps := filepath.Join(dir, "taps.txt")
	if err := os.WriteFile(taps, []byte(times.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		rule string
		args []string
		want []string
		says string
	}{
		{"beats in a file", []string{path, "--beats", taps}, []string{"key: G major\nmeter: 4/4", firstBass}, "so the chart is in G major"},
		{"a tempo, from the first note on", []string{path, "--tempo", "88"}, []string{firstBass}, ""},
		{"a tempo and the first beat, one beat late: a pickup", []string{path, "--tempo", "88", "--first-beat", decimal(beats[1])}, []string{"bass   | do | - la, - fa |"}, ""},
		{"three in a bar", []string{path, "--tempo", "88", "--meter", "3/4"}, []string{"bass   | do - la, | - fa -  | sol, - do |"}, ""},
		{"home that is named otherwise", []string{path, "--key", "F#", "--tempo", "88"}, []string{"key: F# major", firstBass}, "as you say"},
		{"home that is found", []string{path, "--home", "find"}, []string{"key: G major"}, "Home was found, not sung: G major"},
		{"home of a key", []string{path, "--home", "key", "--key", "G"}, []string{"key: G major"}, "from the key that you name"},
		{"a tune has no chords", []string{path, "--line", "tune"}, []string{"tune   | do la,"}, ""},
		{"symbols in another key", []string{path, "--to-key", "F", "--chords", "symbols", "--tempo", "88"}, []string{"key: F major", "chords | F Dm"}, ""},
		{"MusicXML", []string{path, "--to", "musicxml", "--tempo", "88"}, []string{"<root-step>G</root-step>"}, ""},
		{"numbers as names", []string{path, "--names", "numbers", "--chords", "numbers"}, []string{"names: numbers", "1 6, 4 5,"}, ""},
	} {
		stdout, stderr := call{}.must(t, append([]string{"follow"}, c.args...)...)
		for _, want := range c.want {
			if !strings.Contains(stdout, want) {
				t.Errorf("%s: no %q in\n%s", c.rule, want, stdout)
			}
		}
		if !strings.Contains(stderr, c.says) {
			t.Errorf("%s: no %q in\n%s", c.rule, c.says, stderr)
		}
	}
}

// decimal writes a number with its decimals.
func decimal(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// A chart is read again as it was written, and moved there and back.
func TestFollowChart(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := func(name string) string { return filepath.Join(dir, name) }
	call{}.must(t, "follow", "--input", "simulated", "--seed", "4", "--key", "Bb", "--out", path("one.txt"))
	call{}.must(t, "follow", path("one.txt"), "--out", path("two.txt"))
	call{}.must(t, "follow", path("two.txt"), "--to-key", "E", "--chords", "symbols", "--out", path("three.txt"))
	call{}.must(t, "follow", path("three.txt"), "--to-key", "Bb", "--out", path("four.txt"))
	two, err := os.ReadFile(path("two.txt"))
	if err != nil {
		t.Fatal(err)
	}
	if four, _ := os.ReadFile(path("four.txt")); !bytes.Equal(two, four) {
		t.Errorf("there and back:\n%s\nwas\n%s", four, two)
	}
	if one, _ := os.ReadFile(path("one.txt")); !strings.HasPrefix(string(one), string(two)) {
		t.Errorf("read again:\n%s\nwas\n%s", two, one)
	}
	abc, _ := call{}.must(t, "follow", path("one.txt"), "--to", "abc")
	if !strings.Contains(abc, "K:Bb\n\"Bb\"") {
		t.Errorf("%s", abc)
	}
	args := []string{"rename", path("one.txt"), "--to-key", "F"}
	stdout, stderr, code := call{}.run(t, args...)
	refused(t, args, stdout, stderr, code, exitUsage, "is a chart: singback follow")
}

func TestFollowRefuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	chart := write("chart.txt", "key: G\nbass | do sol, do |\n")
	bad := write("bad.txt", "key: G\nbass | do soul do |\n")
	text := write("text.txt", "nothing of the kind\n")
	const take = "../../testdata/wav/la-eb-major-tenor.wav"
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"nothing.wav", exitFailed, "nothing.wav: no such file"},
		{"nothing", exitFailed, "there is no file nothing: want a recording or a chart"},
		{"a.wav b.wav", exitUsage, "want at most one"},
		{text, exitFailed, "is neither a recording nor a chart"},
		{bad, exitFailed, `line 2: bar 1: "soul" is no note`},
		{chart + " --tempo 90", exitUsage, "--tempo: it is about what is sung"},
		{chart + " --format json", exitUsage, "a chart has --to"},
		{chart + " --to-key Dm", exitUsage, "want another major key"},
		{take + " --tempo 5", exitUsage, "want 20 to 400 beats a minute"},
		{take + " --first-beat 2", exitUsage, "it needs --tempo"},
		{take + " --beats " + text, exitFailed, `"nothing" is no time of a beat`},
		{take + " --beats " + text + " --tempo 90", exitUsage, "exclude each other"},
		{take + " --home key", exitUsage, "say it with --key"},
		{take + " --home there", exitUsage, "want first or find or key"},
		{take + " --mode dorian", exitUsage, "want major or minor"},
		{take + " --mode minor --key G", exitUsage, "--key says G major"},
		{take + " --by bow", exitUsage, "want sing or play"},
		{take + " --line alto", exitUsage, "want bass or tune"},
		{take + " --meter 4", exitUsage, "--meter"},
		{take + " --to svg", exitUsage, "want text or abc or musicxml"},
		{take + " --to abc --format csv", exitUsage, "say with --out FILE"},
		{take + " --chords letters", exitUsage, "want numerals or numbers or symbols"},
		{take, exitFailed, "no note was heard after home"},
		{"--beats " + text, exitUsage, "live, tap the space bar"},
		{"--output out.wav", exitUsage, "want speaker or none"},
		{take + " --out " + chart, exitFailed, "--force"},
	} {
		args := append([]string{"follow"}, strings.Fields(c.args)...)
		stdout, stderr, code := call{}.run(t, args...)
		refused(t, args, stdout, stderr, code, c.code, c.says)
	}
}

// An interrupt ends, and what was heard is taken down.
func TestFollowInterrupted(t *testing.T) {
	t.Parallel()
	s, _ := firstSong(t)
	ctx, interrupt := context.WithCancel(t.Context())
	var out, errs bytes.Buffer
	e := &env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs, now: clock, terminal: func(any) bool { return false },
		getenv: func(string) string { return "" },
	}
	o := &followOptions{format: newFormat("text", "json", "csv"), home: homeFirst, line: lineBass, by: bySinging, meter: "4/4", style: "hymn", names: "movable", chords: "numerals", to: "text", a4: theory.DefaultA4, loudness: -23}
	o.cmd = newFollow(e)
	w, err := o.check(e)
	if err != nil {
		t.Fatal(err)
	}
	src := &testkit.Source{Rate: songRate, Forever: true, Cues: []testkit.Cue{{Samples: s.samples[:9*songRate]}, {Do: interrupt}}}
	if err := o.sung(ctx, e, w, src, nil); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "| do la, fa sol, |") || !strings.Contains(errs.String(), "An interrupt (Ctrl-C) ends.") {
		t.Errorf("%s%s", &out, &errs)
	}
}
