package pitch

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden notes anew, once Version was raised")

// The golden notes hold Version to what it stands for. They are all that is measured on
// every sung note of every recording in testdata/wav, in three ways, and the weights by a
// digest, since another choice among candidates may show in none of these recordings.
// While Version is the same, neither may change, and the file cannot be written anew; so
// small changes do not add up either. Once it is raised, the file must be.
//
// A change that no recording shows wants a recording that does (make wav).
const goldenFile = "testdata/notes.golden"

// ledger is what a golden file holds.
type ledger struct {
	version string
	weights string
	takes   []take
}

// take is a recording with its notes, one line each.
type take struct {
	name, sum string // sum is the beginning of the SHA-256 of its file
	notes     []string
}

// Recordings are read as the drill does, as whoever grades a melody does, and live.
var ways = []struct {
	name    string
	reading Reading
	melody  bool
}{{"drill", Settled, false}, {"melody", Offline, true}, {"live", Live, false}}

// columns are the measures of a note. slack is how far they may lie from the golden ones,
// on another processor, whose sums round in another way, or for the rounding of the file.
var columns = []struct {
	name     string
	decimals int
	slack    float64
	of       func(n Note, rate float64) float64
}{
	{"onset_s", 4, .001, func(n Note, rate float64) float64 { return float64(n.Onset) / rate }},
	{"offset_s", 4, .001, func(n Note, rate float64) float64 { return float64(n.Offset) / rate }},
	{"cents_on_a4", 4, .1, func(n Note, _ float64) float64 { return 1200 * math.Log2(n.F0/440) }},
	{"se_c", 3, .1, func(n Note, _ float64) float64 { return n.SE }},
	{"spread_c", 3, .1, func(n Note, _ float64) float64 { return n.Spread }},
	{"slope_c/s", 3, .1, func(n Note, _ float64) float64 { return n.Slope }},
	{"scoop_c", 3, .1, func(n Note, _ float64) float64 { return n.Scoop }},
	{"fall_c", 3, .1, func(n Note, _ float64) float64 { return n.Fall }},
	{"settle_s", 4, .001, func(n Note, _ float64) float64 { return n.Settle }},
	{"settled_s", 4, .001, func(n Note, _ float64) float64 { return n.Settled }},
	{"vibrato_hz", 3, .01, func(n Note, _ float64) float64 { return n.VibratoHz }},
	{"vibrato_c", 3, .1, func(n Note, _ float64) float64 { return n.VibratoCents }},
	{"vibrato_s", 4, .001, func(n Note, _ float64) float64 { return n.VibratoOnset }},
	{"level_db", 3, .01, func(n Note, _ float64) float64 { return n.Level }},
	{"decay_db/s", 3, .01, func(n Note, _ float64) float64 { return n.DecayDB }},
	{"decay_fit", 4, .001, func(n Note, _ float64) float64 { return n.DecayFit }},
	{"voiced", 4, .001, func(n Note, _ float64) float64 { return n.VoicedShare }},
	{"near", 4, .001, func(n Note, _ float64) float64 { return n.Near }},
}

// TestGoldenNotes compares the notes of all recordings with the golden ones.
func TestGoldenNotes(t *testing.T) {
	data, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatalf("%v: take it from the history; it says what notes %q has", err, Version)
	}
	old, err := readLedger(data)
	if err != nil {
		t.Fatalf("%s: %v: take it from the history", goldenFile, err)
	}
	now := heardNow(t)
	if !*update {
		for _, problem := range old.check(now) {
			t.Error(problem)
		}
		return
	}
	next, err := old.renew(now)
	switch {
	case err != nil:
		t.Fatal(err)
	case bytes.Equal(next.text(), data):
		t.Logf("%s stays as it is", goldenFile)
	default:
		if err := os.WriteFile(goldenFile, next.text(), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

// check lists what forbids that the notes of now come with old.
func (old ledger) check(now ledger) (problems []string) {
	changed, other := old.compare(now)
	switch {
	case now.version != old.version:
		return []string{fmt.Sprintf("Version is %q, and %s has the notes of %q: run the test with -update", now.version, goldenFile, old.version)}
	case len(changed) > 0:
		return append(changed, fmt.Sprintf("notes changed: raise Version, which is still %q, then run the test with -update", now.version))
	case len(other) > 0:
		return append(other, "recordings changed: run the test with -update")
	}
	return nil
}

// renew is what takes the place of old. The notes of a version never change: those that
// are known stay as they are, to the digit.
func (old ledger) renew(now ledger) (ledger, error) {
	changed, other := old.compare(now)
	before, err := versionNumber(old.version)
	if err != nil {
		return ledger{}, err
	}
	after, err := versionNumber(now.version)
	if err != nil {
		return ledger{}, err
	}
	switch {
	case after < before:
		return ledger{}, fmt.Errorf("Version is %q, and the golden notes are of %q: a version never comes again", now.version, old.version)
	case after == before && len(changed) > 0:
		return ledger{}, fmt.Errorf("notes changed, and Version is still %q: raise it first\n%s", now.version, strings.Join(changed, "\n"))
	case after > before && len(changed) == 0 && len(other) == 0:
		return ledger{}, fmt.Errorf("Version was raised from %q to %q, and no note changed: leave it, or add a recording that shows the change", old.version, now.version)
	case after > before:
		return now, nil
	}
	next := now
	next.takes = slices.Clone(now.takes)
	for i, n := range next.takes {
		if o, ok := old.take(n.name); ok && o.sum == n.sum {
			next.takes[i] = o
		}
	}
	return next, nil
}

// compare lists what is measured otherwise than before, and which recordings are not
// those that were there.
func (old ledger) compare(now ledger) (changed, other []string) {
	if old.weights != now.weights && len(old.takes) > 0 {
		changed = append(changed, fmt.Sprintf("the weights are %s and were %s", now.weights, old.weights))
	}
	for _, n := range now.takes {
		o, ok := old.take(n.name)
		switch {
		case !ok:
			other = append(other, n.name+" is new")
			continue
		case o.sum != n.sum:
			other = append(other, n.name+" is another recording")
			continue
		}
		for i := range max(len(o.notes), len(n.notes)) {
			was, is := "nothing", "nothing"
			if i < len(o.notes) {
				was = o.notes[i]
			}
			if i < len(n.notes) {
				is = n.notes[i]
			}
			if what := noteDiffers(was, is); what != "" {
				changed = append(changed, fmt.Sprintf("%s, note %d: %s\n\twas %s\n\tis  %s", n.name, i+1, what, was, is))
			}
		}
	}
	for _, o := range old.takes {
		if _, ok := now.take(o.name); !ok {
			other = append(other, o.name+" is gone")
		}
	}
	return changed, other
}

// noteDiffers tells what differs between two notes by more than its slack.
func noteDiffers(was, is string) string {
	a, b := strings.Fields(was), strings.Fields(is)
	if len(a) != len(columns)+1 || len(b) != len(columns)+1 || a[0] != b[0] {
		return "another note"
	}
	for i, c := range columns {
		x, errX := strconv.ParseFloat(a[i+1], 64)
		y, errY := strconv.ParseFloat(b[i+1], 64)
		if errX != nil || errY != nil || !(math.Abs(x-y) <= c.slack) {
			return c.name
		}
	}
	return ""
}

func (l ledger) take(name string) (take, bool) {
	i := slices.IndexFunc(l.takes, func(k take) bool { return k.name == name })
	if i < 0 {
		return take{}, false
	}
	return l.takes[i], true
}

func versionNumber(version string) (int, error) {
	n, ok := strings.CutPrefix(version, "pitch ")
	v, err := strconv.Atoi(n)
	if !ok || err != nil {
		return 0, fmt.Errorf("Version is %q, want pitch and a number", version)
	}
	return v, nil
}

const goldenHead = `# The sung notes of every recording in testdata/wav, which pitch.Version stands for.
# Renewed by: go test ./pitch -run TestGoldenNotes -update, once Version was raised.
# Not to be edited: the digest is of all that stands below it.
`

// text is a ledger as a file.
func (l ledger) text() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "version: %s\nweights: %s\n\n#", l.version, l.weights)
	b.WriteString(" way")
	for _, c := range columns {
		b.WriteString(" " + c.name)
	}
	b.WriteString("\n")
	for _, k := range l.takes {
		fmt.Fprintf(&b, "\n%s %s\n", k.name, k.sum)
		for _, n := range k.notes {
			b.WriteString("  " + n + "\n")
		}
	}
	return fmt.Appendf(nil, "%sdigest: %x\n%s", goldenHead, sha256.Sum256(b.Bytes()), b.Bytes())
}

func readLedger(data []byte) (l ledger, err error) {
	rest, ok := strings.CutPrefix(string(data), goldenHead+"digest: ")
	digest, body, found := strings.Cut(rest, "\n")
	if !ok || !found || digest != fmt.Sprintf("%x", sha256.Sum256([]byte(body))) {
		return l, fmt.Errorf("the digest is not that of the notes")
	}
	for line := range strings.Lines(body) {
		line = strings.TrimSuffix(line, "\n")
		fields := strings.Fields(line)
		switch {
		case len(fields) == 0 || fields[0] == "#":
		case fields[0] == "version:":
			l.version = strings.TrimPrefix(line, "version: ")
		case fields[0] == "weights:":
			l.weights = strings.TrimPrefix(line, "weights: ")
		case line[0] == ' ' && len(l.takes) > 0:
			k := &l.takes[len(l.takes)-1]
			k.notes = append(k.notes, strings.TrimSpace(line))
		case len(fields) == 2:
			l.takes = append(l.takes, take{name: fields[0], sum: fields[1]})
		default:
			return l, fmt.Errorf("line %q", line)
		}
	}
	return l, nil
}

// heardNow reads all recordings.
func heardNow(t *testing.T) ledger {
	t.Helper()
	h := sha256.New()
	fmt.Fprint(h, candWeights, frameWeights, candWeightsLive, frameWeightsLive, onsetWeights, placeWeights)
	now := ledger{version: Version, weights: fmt.Sprintf("%x", h.Sum(nil)[:8])}
	files, err := filepath.Glob("../testdata/wav/*.wav")
	if err != nil || len(files) == 0 {
		t.Fatalf("no recordings: %v", err)
	}
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		rate, x := samplesOf(t, path, data)
		k := take{name: strings.TrimSuffix(filepath.Base(path), ".wav"), sum: fmt.Sprintf("%x", sha256.Sum256(data))[:16]}
		for _, way := range ways {
			cfg := DefaultConfig(rate)
			cfg.Reading = way.reading
			tr, err := NewTracker(cfg)
			if err != nil {
				t.Fatal(err)
			}
			points := tr.Flush(tr.Push(nil, x))
			seg, err := NewSegmenter(cfg)
			if way.melody {
				seg, err = NewMelodySegmenter(cfg)
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range seg.Flush(seg.Push(nil, points)) {
				line := way.name
				for _, c := range columns {
					line += fmt.Sprintf(" %.*f", c.decimals, c.of(n, float64(rate)))
				}
				k.notes = append(k.notes, line)
			}
		}
		now.takes = append(now.takes, k)
	}
	return now
}

// samplesOf reads a WAV file of 16-bit mono as the recordings are. The test has its own
// reader: the package knows no files.
func samplesOf(t *testing.T, name string, data []byte) (rate int, x []float64) {
	t.Helper()
	if len(data) < 12 || string(data[:4]) != "RIFF" || string(data[8:12]) != "WAVE" {
		t.Fatalf("%s: no WAV file", name)
	}
	for at := 12; at+8 <= len(data); {
		id, size := string(data[at:at+4]), int(binary.LittleEndian.Uint32(data[at+4:]))
		chunk := data[at+8 : min(len(data), at+8+size)]
		switch id {
		case "fmt ":
			rate = int(binary.LittleEndian.Uint32(chunk[4:]))
			if f, n, bits := binary.LittleEndian.Uint16(chunk), binary.LittleEndian.Uint16(chunk[2:]), binary.LittleEndian.Uint16(chunk[14:]); f != 1 || n != 1 || bits != 16 {
				t.Fatalf("%s: format %d, %d channels, %d bits, want PCM of 16 bits in one channel", name, f, n, bits)
			}
		case "data":
			for i := 0; i+1 < len(chunk); i += 2 {
				x = append(x, float64(int16(binary.LittleEndian.Uint16(chunk[i:])))/32768)
			}
		}
		at += 8 + size + size%2
	}
	if rate == 0 || len(x) == 0 {
		t.Fatalf("%s: no samples", name)
	}
	return rate, x
}

// What the golden notes allow and what they refuse.
func TestGoldenRules(t *testing.T) {
	note := func(cents float64) string {
		line := "drill"
		for _, c := range columns {
			v := 1.0
			if c.name == "cents_on_a4" {
				v = cents
			}
			line += fmt.Sprintf(" %.*f", c.decimals, v)
		}
		return line
	}
	of := func(version, weights string, takes ...take) ledger { return ledger{version, weights, takes} }
	a := take{"a", "1", []string{note(10)}}
	b := take{"b", "2", nil}
	nearA, offA := take{"a", "1", []string{note(10.09)}}, take{"a", "1", []string{note(10.11)}}
	moreA, lessA := take{"a", "1", []string{note(10), note(20)}}, take{"a", "1", nil}
	otherA := take{"a", "3", []string{note(30)}}
	old := of("pitch 2", "w", a)
	for _, c := range []struct {
		name    string
		now     ledger
		passes  bool
		renewed *ledger // nil: refused
	}{
		{"nothing changed", of("pitch 2", "w", a), true, &old},
		{"within the slack: the golden note stays", of("pitch 2", "w", nearA), true, &old},
		{"a note beyond it", of("pitch 2", "w", offA), false, nil},
		{"a note more", of("pitch 2", "w", moreA), false, nil},
		{"a note less", of("pitch 2", "w", lessA), false, nil},
		{"other weights", of("pitch 2", "v", a), false, nil},
		{"a note beyond the slack, and a new recording", of("pitch 2", "w", offA, b), false, nil},
		{"a new recording", of("pitch 2", "w", nearA, b), false, &ledger{"pitch 2", "w", []take{a, b}}},
		{"another recording", of("pitch 2", "w", otherA), false, &ledger{"pitch 2", "w", []take{otherA}}},
		{"a recording is gone", of("pitch 2", "w", b), false, &ledger{"pitch 2", "w", []take{b}}},
		{"raised, with other notes", of("pitch 3", "w", offA), false, &ledger{"pitch 3", "w", []take{offA}}},
		{"raised, with other weights", of("pitch 10", "v", a), false, &ledger{"pitch 10", "v", []take{a}}},
		{"raised, and nothing changed", of("pitch 3", "w", a), false, nil},
		{"raised, with a recording that shows why", of("pitch 3", "w", a, b), false, &ledger{"pitch 3", "w", []take{a, b}}},
		{"an earlier version", of("pitch 1", "w", offA), false, nil},
		{"no version", of("tracker", "w", offA), false, nil},
	} {
		if problems := old.check(c.now); (len(problems) == 0) != c.passes {
			t.Errorf("%s: passes %t, want %t: %q", c.name, len(problems) == 0, c.passes, problems)
		}
		next, err := old.renew(c.now)
		if (err == nil) != (c.renewed != nil) || err == nil && !bytes.Equal(next.text(), c.renewed.text()) {
			t.Errorf("%s: -update gives %+v, %v; want %+v", c.name, next, err, c.renewed)
		}
	}
	text := old.text()
	back, err := readLedger(text)
	if err != nil || !bytes.Equal(back.text(), text) {
		t.Errorf("read back as %+v, %v", back, err)
	}
	if _, err := readLedger(bytes.Replace(text, []byte("10.0000"), []byte("10.2000"), 1)); err == nil {
		t.Error("a note edited by hand is read")
	}
	if _, err := readLedger(bytes.Replace(text, []byte("pitch 2"), []byte("pitch 1"), 1)); err == nil {
		t.Error("a version edited by hand is read")
	}
}
