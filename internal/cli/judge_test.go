package cli

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"singback/internal/audio"
)

// truth is what the text beside a recording says, and the flags it leads to.
type truth struct {
	path string
	says map[string]string
}

func (tr truth) music() []string {
	return []string{"--key", tr.says["key"], "--octave", tr.says["tonic_octave"], "--tolerance", tr.says["tolerance"], "--format", "json"}
}

// judged is how judge is called for it.
func (tr truth) judged() []string {
	return append([]string{"judge", "--degree", tr.says["asked"], tr.path}, tr.music()...)
}

func truths(t testing.TB) []truth {
	t.Helper()
	files, err := filepath.Glob("../../testdata/wav/*.txt")
	if err != nil || len(files) < 15 {
		t.Fatalf("%d recordings: %v", len(files), err)
	}
	var all []truth
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		tr := truth{strings.TrimSuffix(f, ".txt") + ".wav", map[string]string{}}
		for line := range strings.Lines(string(b)) {
			if key, value, ok := strings.Cut(strings.TrimSpace(line), ": "); ok {
				tr.says[key] = value
			}
		}
		all = append(all, tr)
	}
	return all
}

func recordingNamed(t testing.TB, name string) truth {
	t.Helper()
	for _, tr := range truths(t) {
		if filepath.Base(tr.path) == name+".wav" {
			return tr
		}
	}
	t.Fatalf("no recording %s", name)
	return truth{}
}

// The fields of a judgement that the topic fields of the handbook promises, and of what JSON type
// they are where they are measured.
var judgeFields = map[string]string{
	"schema": "number", "take": "string", "key": "string", "a4_hz": "number", "tuning": "string",
	"tolerance_cents": "number", "tuning_note": "string", "strict_octave": "bool", "asked": "object", "from": "object", "target_hz": "number",
	"folded": "bool", "outcome": "string", "reason": "string", "sung": "object",
	"cents": "number", "cents_from_asked": "number", "cents_se": "number", "spread_cents": "number",
	"vibrato_hz": "number", "vibrato_cents": "number", "scoop_cents": "number",
	"settle_s": "number", "held_s": "number", "answer_s": "number", "f0_hz": "number", "level_dbfs": "number", "by_steps": "bool",
}

func kind(x any) string {
	switch x.(type) {
	case nil:
		return "null"
	case string:
		return "string"
	case float64:
		return "number"
	case bool:
		return "bool"
	case map[string]any:
		return "object"
	}
	return fmt.Sprintf("%T", x)
}

// Every recording gets the verdict that the text beside it says.
func TestJudgeRecordings(t *testing.T) {
	for _, tr := range truths(t) {
		t.Run(filepath.Base(tr.path), func(t *testing.T) {
			stdout, stderr := call{}.must(t, tr.judged()...)
			if stderr != "" || strings.Count(stdout, "\n") != 1 {
				t.Errorf("standard error %q, standard output %q", stderr, stdout)
			}
			var got map[string]any
			if err := json.Unmarshal([]byte(stdout), &got); err != nil {
				t.Fatal(err)
			}
			for name, want := range judgeFields {
				x, ok := got[name]
				if k := kind(x); !ok || k != want && k != "null" {
					t.Errorf("%s is %v, want a %s or null", name, x, want)
				}
			}
			for name := range got {
				if judgeFields[name] == "" {
					t.Errorf("field %s is not documented", name)
				}
			}
			asked := got["asked"].(map[string]any)
			if asked["syllable"] != tr.says["asked"] || kind(asked["degree"]) != "string" {
				t.Errorf("asked %v, want %s", asked, tr.says["asked"])
			}
			if got["outcome"] != tr.says["expect_outcome"] {
				t.Errorf("outcome %v, want %s", got["outcome"], tr.says["expect_outcome"])
			}
			reason := "-"
			if got["reason"] != nil {
				reason = got["reason"].(string)
			}
			if reason != tr.says["expect_reason"] {
				t.Errorf("reason %s, want %s", reason, tr.says["expect_reason"])
			}
			if want := tr.says["expect_sung_degree"]; want == "-" {
				if got["outcome"] == "not_measured" && got["sung"] != nil {
					t.Errorf("sung %v of what was not measured", got["sung"])
				}
			} else if sung, ok := got["sung"].(map[string]any); !ok {
				t.Errorf("sung nothing, want %s", want)
			} else {
				if sung["syllable"] != want || fmt.Sprint(sung["octave_shift"]) != tr.says["expect_octave_shift"] {
					t.Errorf("sung %v, want %s, octave shift %s", sung, want, tr.says["expect_octave_shift"])
				}
			}
			if tr.says["expect_cents"] != "-" {
				want, within := number(t, tr.says["expect_cents"]), number(t, tr.says["expect_cents_within"])
				if c, ok := got["cents"].(float64); !ok || math.Abs(c-want) > within {
					t.Errorf("%v cents, want %v ± %v", got["cents"], want, within)
				}
			}
		})
	}
}

// sing and judge say the same of the same recording, to the byte.
func TestSingAndJudgeAgree(t *testing.T) {
	t.Parallel()
	all := truths(t)
	// A singer who takes nine seconds to begin: no timeout falls on a recording.
	rate, samples := readWAV(t, recordingNamed(t, "flat-40").path)
	late := recordingNamed(t, "flat-40")
	late.path = filepath.Join(t.TempDir(), "late.wav")
	if err := os.WriteFile(late.path, pcm16(t, rate, append(make([]float64, 9*rate), samples...)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tr := range append(all, late) {
		one, _ := call{}.must(t, tr.judged()...)
		var judge, sing map[string]json.RawMessage
		if err := json.Unmarshal([]byte(one), &judge); err != nil {
			t.Fatal(err)
		}
		lines, _ := call{}.must(t, append([]string{"sing", "--degrees", tr.says["asked"], "--input", tr.path}, tr.music()...)...)
		for _, line := range strings.Split(lines, "\n") {
			if strings.HasPrefix(line, `{"event":"verdict"`) {
				if err := json.Unmarshal([]byte(line), &sing); err != nil {
					t.Fatal(err)
				}
			}
		}
		shared := 0
		for name, want := range judge {
			if name == "schema" || name == "take" {
				continue
			}
			shared++
			if got := sing[name]; !bytes.Equal(got, want) {
				t.Errorf("%s: %s is %s to sing and %s to judge", filepath.Base(tr.path), name, got, want)
			}
		}
		if shared != len(judgeFields)-2 {
			t.Errorf("%s: %d fields shared, want %d", filepath.Base(tr.path), shared, len(judgeFields)-2)
		}
		if tr.path == late.path && !strings.Contains(one, `"outcome":"flat"`) {
			t.Errorf("after nine seconds: %s", one)
		}
	}
}

func TestJudgeFlags(t *testing.T) {
	outcome := func(args ...string) (outcome string, shift, cents float64) {
		t.Helper()
		stdout, _ := call{}.must(t, args...)
		var v struct {
			Outcome string
			Sung    struct {
				OctaveShift float64 `json:"octave_shift"`
			}
			Cents float64
		}
		if err := json.Unmarshal([]byte(stdout), &v); err != nil {
			t.Fatal(err)
		}
		return v.Outcome, v.Sung.OctaveShift, v.Cents
	}
	below := recordingNamed(t, "octave-below")
	if o, shift, _ := outcome(below.judged()...); o != "in_tune" || shift != -1 {
		t.Errorf("an octave below: %s, shift %v", o, shift)
	}
	if o, _, _ := outcome(append(below.judged(), "--strict-octave")...); o != "other_degree" {
		t.Errorf("an octave below, --strict-octave: %s", o)
	}
	home, _ := strconv.Atoi(below.says["tonic_octave"])
	if o, shift, _ := outcome(append(below.judged(), "--strict-octave", "--octave", strconv.Itoa(home-1))...); o != "in_tune" || shift != 0 {
		t.Errorf("an octave below in its own octave: %s, shift %v", o, shift)
	}
	flat := recordingNamed(t, "flat-40")
	_, _, at440 := outcome(flat.judged()...)
	// 442 Hz lies 1200·log2(442/440) = 7.852 cents above 440 Hz.
	if _, _, at442 := outcome(append(flat.judged(), "--a4", "442")...); math.Abs(at440-at442-7.852) > 0.011 {
		t.Errorf("%v cents at A4 = 440 Hz, %v at 442 Hz, want 7.852 less", at440, at442)
	}
	if o, _, _ := outcome(append(flat.judged(), "--tolerance", "50")...); o != "in_tune" {
		t.Errorf("40 cents flat with --tolerance 50: %s", o)
	}
	// The same degree by each of its names: ti in A major.
	for names, degree := range map[string]string{"movable": "ti", "numbers": "7", "letters": "G#", "fixed": "sol#", "la-based": "ti"} {
		if o, _, _ := outcome(append(flat.judged(), "--names", names, "--degree", degree)...); o != "flat" {
			t.Errorf("%s as %s: %s", degree, names, o)
		}
	}
}

func TestJudgeText(t *testing.T) {
	for name, want := range map[string][]string{
		"la-for-sol": {" instead of sol"}, "silence": {"not measured: no sound at all", "muted or unplugged?"}, "border-50": {"not decided"},
		"octave-below": {"an octave below"}, "too-short": {"not measured: too short; hold the note"},
	} {
		tr := recordingNamed(t, name)
		stdout, _ := call{}.must(t, append(tr.judged(), "--format", "text")...)
		for _, s := range want {
			if !strings.Contains(stdout, s) {
				t.Errorf("%s: %q does not say %q", name, stdout, s)
			}
		}
	}
}

func readWAV(t testing.TB, path string) (rate int, samples []float64) {
	t.Helper()
	w, err := audio.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	block := make([]float64, 4096)
	for {
		n, _, err := w.Read(context.Background(), block)
		samples = append(samples, block[:n]...)
		if err != nil {
			return w.SampleRate(), samples
		}
	}
}

func pcm16(t testing.TB, rate int, samples []float64) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, rate, samples); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// form is a WAV file written by hand, from the description of the RIFF form in
// Multimedia Programming Interface and Data Specifications 1.0 (1991) and of
// WAVE_FORMAT_EXTENSIBLE in mmreg.h.
type form struct {
	tag, channels, rate, bits int
	extensible                bool
	before                    []byte // whole chunks ahead of the data
	dataSize                  int    // what the header says; -1: what there is
	data                      []byte
}

func (f form) bytes() []byte {
	le := binary.LittleEndian
	fmtChunk := le.AppendUint16(nil, uint16(f.tag))
	if f.extensible {
		fmtChunk = le.AppendUint16(nil, 0xFFFE)
	}
	align := f.channels * f.bits / 8
	fmtChunk = le.AppendUint16(fmtChunk, uint16(f.channels))
	fmtChunk = le.AppendUint32(fmtChunk, uint32(f.rate))
	fmtChunk = le.AppendUint32(fmtChunk, uint32(f.rate*align))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(align))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(f.bits))
	if f.extensible {
		fmtChunk = le.AppendUint16(fmtChunk, 22)
		fmtChunk = le.AppendUint16(fmtChunk, uint16(f.bits))
		fmtChunk = le.AppendUint32(fmtChunk, 0)
		fmtChunk = le.AppendUint16(fmtChunk, uint16(f.tag))
		fmtChunk = append(fmtChunk, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}
	size := f.dataSize
	if size < 0 {
		size = len(f.data)
	}
	body := append([]byte("WAVEfmt "), le.AppendUint32(nil, uint32(len(fmtChunk)))...)
	body = append(append(body, fmtChunk...), f.before...)
	body = append(append(body, "data"...), le.AppendUint32(nil, uint32(size))...)
	body = append(body, f.data...)
	return append(append([]byte("RIFF"), le.AppendUint32(nil, uint32(min(len(body), math.MaxUint32)))...), body...)
}

// encode writes samples as little-endian numbers of so many bits, the same in
// every channel.
func encode(samples []float64, bits, channels int, float bool) []byte {
	var b []byte
	le := binary.LittleEndian
	for _, x := range samples {
		for range channels {
			switch {
			case float && bits == 64:
				b = le.AppendUint64(b, math.Float64bits(x))
			case float:
				b = le.AppendUint32(b, math.Float32bits(float32(x)))
			case bits == 8:
				b = append(b, byte(128+math.Round(x*127)))
			default:
				n := int32(math.Round(x * math.Exp2(float64(bits-1))))
				for shift := 0; shift < bits; shift += 8 {
					b = append(b, byte(n>>shift))
				}
			}
		}
	}
	return b
}

// resample interpolates with a windowed sinc, 32 zero crossings on each side.
func resample(samples []float64, from, to int) []float64 {
	const half = 32
	cut := min(1, float64(to)/float64(from))
	out := make([]float64, len(samples)*to/from)
	for i := range out {
		at := float64(i) * float64(from) / float64(to)
		reach := half / cut
		for j := max(0, int(at-reach)+1); j < min(len(samples), int(at+reach)+1); j++ {
			x := math.Pi * cut * (float64(j) - at)
			w := cut * (0.5 + 0.5*math.Cos(x/half))
			if x != 0 {
				w *= math.Sin(x) / x
			}
			out[i] += w * samples[j]
		}
	}
	return out
}

// Unusual recordings of the same sound get the same verdict, from a file and
// from a pipe that delivers byte by byte.
func TestJudgeUnusualRecordings(t *testing.T) {
	tr := recordingNamed(t, "flat-40")
	rate, samples := readWAV(t, tr.path)
	file := filepath.Join(t.TempDir(), "take.wav")
	type verdict struct {
		Outcome   string
		Sung      *struct{ Syllable string }
		Cents     float64
		CentsSE   float64 `json:"cents_se"`
		LevelDBFS float64 `json:"level_dbfs"`
	}
	judge := func(b []byte) (line string, v verdict) {
		t.Helper()
		args := tr.judged()
		args[3] = file
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		fromFile, stderr := call{}.must(t, args...)
		if stderr != "" {
			t.Errorf("standard error has %q", stderr)
		}
		args[3] = "-"
		fromPipe, _ := call{stdin: iotest.OneByteReader(bytes.NewReader(b))}.must(t, args...)
		_, line, _ = strings.Cut(fromFile, `,"key":`)
		if _, piped, _ := strings.Cut(fromPipe, `,"key":`); piped != line {
			t.Errorf("from a pipe %s, from a file %s", piped, line)
		}
		if err := json.Unmarshal([]byte(fromFile), &v); err != nil {
			t.Fatal(err)
		}
		return line, v
	}
	want, wantVerdict := judge(pcm16(t, rate, samples))
	odd := []byte("LIST\x05\x00\x00\x00hello\x00junk\x01\x00\x00\x00x\x00")
	for _, c := range []struct {
		name  string
		f     form
		cents float64 // how far it may be off; 0: the same bytes
	}{
		{"8 bits", form{1, 1, rate, 8, false, nil, -1, encode(samples, 8, 1, false)}, 2},
		{"16 bits", form{1, 1, rate, 16, false, nil, -1, encode(samples, 16, 1, false)}, 0},
		{"24 bits", form{1, 1, rate, 24, false, nil, -1, encode(samples, 24, 1, false)}, 0},
		{"32 bits", form{1, 1, rate, 32, false, nil, -1, encode(samples, 32, 1, false)}, 0},
		{"float", form{3, 1, rate, 32, false, nil, -1, encode(samples, 32, 1, true)}, 0},
		{"double", form{3, 1, rate, 64, false, nil, -1, encode(samples, 64, 1, true)}, 0},
		{"extensible", form{1, 1, rate, 16, true, nil, -1, encode(samples, 16, 1, false)}, 0},
		{"extensible float", form{3, 1, rate, 32, true, nil, -1, encode(samples, 32, 1, true)}, 0},
		{"stereo", form{1, 2, rate, 16, false, nil, -1, encode(samples, 16, 2, false)}, 0},
		{"8 channels", form{1, 8, rate, 24, true, nil, -1, encode(samples, 24, 8, false)}, 0},
		{"odd chunks before the data", form{1, 1, rate, 16, false, odd, -1, encode(samples, 16, 1, false)}, 0},
		{"unknown length", form{1, 1, rate, 16, false, nil, 0xFFFFFFFF, encode(samples, 16, 1, false)}, 0},
		{"unknown length as 0", form{1, 1, rate, 16, false, nil, 0, encode(samples, 16, 1, false)}, 0},
		{"unknown length as 2 GiB", form{1, 1, rate, 16, false, nil, 0x7FFFF000, encode(samples, 16, 1, false)}, 0},
		{"8 kHz", form{1, 1, 8000, 16, false, nil, -1, encode(resample(samples, rate, 8000), 16, 1, false)}, 2},
		{"192 kHz", form{1, 1, 192000, 16, false, nil, -1, encode(resample(samples, rate, 192000), 16, 1, false)}, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, v := judge(c.f.bytes())
			switch {
			case c.cents == 0 && got != want:
				t.Errorf("verdict %s, want %s", got, want)
			case v.Outcome != wantVerdict.Outcome || v.Sung == nil || v.Sung.Syllable != wantVerdict.Sung.Syllable || math.Abs(v.Cents-wantVerdict.Cents) > c.cents:
				t.Errorf("verdict %+v, want %+v within %v cents", v, wantVerdict, c.cents)
			}
		})
	}
}

func TestDamagedRecordings(t *testing.T) {
	tr := recordingNamed(t, "flat-40")
	rate, samples := readWAV(t, tr.path)
	whole := pcm16(t, rate, samples)
	data := encode(samples[:1000], 16, 1, false)
	dir := t.TempDir()
	for _, c := range []struct {
		name, says string
		b          []byte
	}{
		{"cut short", "cut short: the header promises 2.050 s, the file holds", whole[:len(whole)/2]},
		{"cut in the header", "cut short: it ends after", whole[:30]},
		{"empty", "the file is empty", nil},
		{"a header alone", "the file holds 0.000 s", whole[:44]},
		{"zero rate", "a sample rate of 0", form{1, 1, 0, 16, false, nil, -1, data}.bytes()},
		{"1 Hz", "a sample rate of 1 Hz, from 8000 to 192000 are read", form{1, 1, 1, 16, false, nil, -1, data}.bytes()},
		{"0 bits", "0 bits a sample", form{1, 1, rate, 0, false, nil, -1, data}.bytes()},
		{"0 channels", "0 channels", form{1, 0, rate, 16, false, nil, -1, data}.bytes()},
		{"65535 channels", "65535 channels, at most 64 are read", form{1, 65535, rate, 16, false, nil, -1, data}.bytes()},
		{"a header of 4 GiB", "cut short: the header promises", form{1, 1, rate, 16, false, nil, 0xFFFFFFF0, data}.bytes()},
		{"MP3 in a WAV", "codec 0x0055 (MP3); save it as PCM", form{0x55, 1, rate, 16, false, nil, -1, data}.bytes()},
		{"a text", "it looks like text", []byte("la la la\n")},
		{"FLAC", "cut short: the FLAC ends in its header", []byte("fLaC\x00\x00\x00\x22 and so on")},
		{"zeros", "not a recording: it looks like nothing known", make([]byte, 1000)},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(dir, strings.ReplaceAll(c.name, " ", "-")+".wav")
			if err := os.WriteFile(path, c.b, 0o600); err != nil {
				t.Fatal(err)
			}
			for _, args := range [][]string{
				{"judge", "--key", "A", "--degree", "ti", path},
				{"trace", path},
				{"sing", path},
			} {
				stdout, stderr, code := call{}.run(t, args...)
				refused(t, args, stdout, stderr, code, exitFailed, filepath.Base(path), c.says)
			}
			stdout, stderr, code := call{stdin: bytes.NewReader(c.b)}.run(t, "judge", "--key", "A", "--degree", "ti", "-")
			if c.name == "cut short" && code == exitDone {
				return // the note ended before the cut
			}
			refused(t, []string{"judge", "-"}, stdout, stderr, code, exitFailed, "standard input: ")
		})
	}
	// What is there of a recording that was cut short can be asked for.
	path := filepath.Join(dir, "cut-short.wav")
	stdout, _ := call{}.must(t, "judge", "--key", "A", "--degree", "ti", "--partial", path)
	if !strings.Contains(stdout, "ti, but too low") {
		t.Errorf("--partial: %q", stdout)
	}
}

// Channels that cancel each other are told of, and one of them can be picked.
func TestJudgeCancellingChannels(t *testing.T) {
	tr := recordingNamed(t, "flat-40")
	rate, samples := readWAV(t, tr.path)
	var data []byte
	for _, x := range samples {
		data = append(data, encode([]float64{x}, 16, 1, false)...)
		data = append(data, encode([]float64{-x}, 16, 1, false)...)
	}
	b := form{1, 2, rate, 16, false, nil, -1, data}.bytes()
	args := tr.judged()
	args[3] = "-"
	stdout, stderr := call{stdin: bytes.NewReader(b)}.must(t, args...)
	if !strings.Contains(stdout, "not_measured") || !strings.Contains(stderr, "try --channel 1") {
		t.Errorf("mixed: %s, %q", stdout, stderr)
	}
	stdout, stderr = call{stdin: bytes.NewReader(b)}.must(t, append(args, "--channel", "2")...)
	if !strings.Contains(stdout, `"outcome":"flat"`) || stderr != "" {
		t.Errorf("channel 2: %s, %q", stdout, stderr)
	}
}

// Whatever the bytes of a recording, there is a verdict or one line.
func FuzzJudge(f *testing.F) {
	for _, tr := range truths(f)[:6] {
		b, err := os.ReadFile(tr.path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b[:6000]) // cut short: from a pipe that is told at its end
	}
	tone := make([]float64, 6000)
	for i := range tone {
		tone[i] = 0.3 * math.Sin(2*math.Pi*220*float64(i)/8000)
	}
	f.Add(pcm16(f, 8000, tone))
	f.Add(form{3, 2, 8000, 32, true, []byte("LIST\x03\x00\x00\x00abc\x00"), 0xFFFFFFFF, encode(tone, 32, 2, true)}.bytes())
	f.Add(form{3, 1, 192000, 32, false, nil, -1, bytes.Repeat([]byte{0, 0, 0xc0, 0x7f}, 500)}.bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 64<<10 {
			return
		}
		for _, args := range [][]string{
			{"judge", "--key", "C", "--degree", "la", "--format", "json", "-"},
			{"trace", "--partial", "--format", "json", "-"},
		} {
			stdout, stderr, code := call{stdin: bytes.NewReader(b)}.run(t, args...)
			switch {
			case code == exitDone && !json.Valid([]byte(stdout)):
				t.Errorf("%s is not JSON", stdout)
			case code != exitDone && code != exitFailed:
				t.Errorf("exit %d", code)
			case strings.Count(stderr, "\n") > 1:
				t.Errorf("standard error has %q", stderr)
			case code == exitFailed && (stderr == "" || args[0] == "judge" && stdout != ""):
				t.Errorf("failed with %q and %q", stdout, stderr)
			}
		}
	})
}
