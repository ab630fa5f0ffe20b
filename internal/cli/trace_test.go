package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"singback/internal/testkit/metrics"
)

type traceRow struct {
	Time       float64 `json:"time_s"`
	F0         float64 `json:"f0_hz"`
	Voiced     int     `json:"voiced"`
	Confidence float64 `json:"confidence"`
	Level      float64 `json:"level_dbfs"`
}

func traceOf(t *testing.T, b []byte) (csv string, rows []traceRow) {
	t.Helper()
	csv, stderr := call{stdin: bytes.NewReader(b)}.must(t, "trace", "-")
	if stderr != "" {
		t.Errorf("standard error has %q", stderr)
	}
	header, body, _ := strings.Cut(csv, "\n")
	if header != "time_s,f0_hz,voiced,confidence,level_dbfs" {
		t.Errorf("header %q", header)
	}
	for line := range strings.Lines(body) {
		f := strings.Split(strings.TrimSpace(line), ",")
		if len(f) != 5 {
			t.Fatalf("row %q", line)
		}
		rows = append(rows, traceRow{number(t, f[0]), number(t, f[1]), int(number(t, f[2])), number(t, f[3]), number(t, f[4])})
	}
	js, _ := call{stdin: bytes.NewReader(b)}.must(t, "trace", "--format", "json", "-")
	var objects []traceRow
	d := json.NewDecoder(strings.NewReader(js))
	d.DisallowUnknownFields()
	if err := d.Decode(&objects); err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(objects) != fmt.Sprint(rows) {
		t.Error("the rows of CSV and JSON differ")
	}
	slow, _ := call{stdin: iotest.OneByteReader(bytes.NewReader(b))}.must(t, "trace", "-")
	if slow != csv {
		t.Error("a pipe that delivers byte by byte gives other rows")
	}
	return csv, rows
}

// A glide whose frequency is known at every moment: 220 Hz rising evenly by
// 400 cents a second, after half a second of silence. So the times of the rows
// are checked too: a row 5 ms off would be 2 cents off.
func TestTraceOfAGlide(t *testing.T) {
	const hz, slope, lead = 220.0, 400.0, 0.5
	for _, rate := range []int{8000, 22050, 48000, 192000} {
		samples := make([]float64, 2*rate)
		k := slope * math.Ln2 / 1200
		for i := int(lead * float64(rate)); i < len(samples); i++ {
			at := float64(i)/float64(rate) - lead
			phase := 2 * math.Pi * hz * math.Expm1(k*at) / k // integral of hz·e^(k·t)
			samples[i] = 0.2*math.Sin(phase) + 0.1*math.Sin(2*phase) + 0.05*math.Sin(3*phase)
		}
		csv, rows := traceOf(t, pcm16(t, rate, samples))
		if n := len(rows); n < 195 || n > 201 {
			t.Errorf("%d Hz: %d rows of 2 s, want one every 10 ms", rate, n)
		}
		worst, voiced := 0.0, 0
		for i, r := range rows {
			if i > 0 {
				if hop := r.Time - rows[i-1].Time; math.Abs(hop-0.01) > 0.5/float64(rate)+2e-6 {
					t.Fatalf("%d Hz: rows %v s apart", rate, hop)
				}
			}
			if r.Voiced == 0 {
				if r.F0 != 0 {
					t.Errorf("%d Hz: %v Hz at %v s, unvoiced", rate, r.F0, r.Time)
				}
				continue
			}
			voiced++
			if r.Time < lead-0.03 {
				t.Errorf("%d Hz: voiced at %v s, in silence", rate, r.Time)
			}
			if r.Time > lead+0.05 && r.Time < 1.95 {
				want := hz * math.Exp2(slope*(r.Time-lead)/1200)
				worst = max(worst, math.Abs(1200*math.Log2(r.F0/want)))
			}
		}
		t.Logf("%d Hz: worst row %.2f cents off, %d voiced", rate, worst, voiced)
		if worst > 1 || voiced < 140 {
			t.Errorf("%d Hz: worst row %.2f cents off with %d voiced, want at most 1 with 140 or more", rate, worst, voiced)
		}
		if strings.Contains(csv, "NaN") || strings.Contains(csv, "Inf") {
			t.Errorf("%d Hz: not a number in %s", rate, csv)
		}
		// A harmonic tone of these amplitudes has −16.1 dBFS.
		level := 10 * math.Log10((0.2*0.2+0.1*0.1+0.05*0.05)/2)
		if mid := rows[len(rows)/2]; math.Abs(mid.Level-level) > 0.3 {
			t.Errorf("%d Hz: level %v dBFS, want %.2f", rate, mid.Level, level)
		}
	}
}

// A recording shorter than a frame has a track all the same.
func TestTraceOfAlmostNothing(t *testing.T) {
	_, rows := traceOf(t, pcm16(t, 8000, []float64{0.1}))
	for _, r := range rows {
		if r.Voiced != 0 {
			t.Errorf("%+v of one sample", r)
		}
	}
}

// With --estimates an unvoiced row has the likeliest pitch, and everything else stays as
// it is. Written as mir_eval reads a melody, where an unvoiced frame's pitch is negative
// (internal/help/fields.md), the rows of a tone under noise have at least the raw pitch
// accuracy that they have without estimates, and the same voicing.
func TestTraceEstimates(t *testing.T) {
	const rate, hz = 16000, 196.0
	r := rand.New(rand.NewPCG(4, 5))
	x := make([]float64, 2*rate)
	for i := range x {
		at := float64(i) / rate
		for h := 1.0; h <= 6; h++ {
			x[i] += .02 / h * math.Sin(2*math.Pi*h*hz*at)
		}
		x[i] += .05 * r.NormFloat64() // 9 dB over the tone
	}
	b := pcm16(t, rate, x)
	plain, _ := call{stdin: bytes.NewReader(b)}.must(t, "trace", "-")
	for _, live := range []bool{false, true} {
		args := []string{"trace", "--estimates", "-"}
		header := "time_s,f0_hz,voiced,confidence,level_dbfs,estimate_hz"
		if live {
			args, header = append(args, "--live"), header+",available_s"
		}
		got, _ := call{stdin: bytes.NewReader(b)}.must(t, args...)
		first, _, _ := strings.Cut(got, "\n")
		if first != header {
			t.Errorf("header %q, want %q", first, header)
		}
		if live {
			continue
		}
		rows, without := tableOf(t, got), tableOf(t, plain)
		var truth, told, kept []metrics.Reading
		for i, row := range rows {
			sung := row["voiced"] == 1
			if estimate := row["estimate_hz"]; sung && estimate != row["f0_hz"] {
				t.Fatalf("row %v: voiced, but another estimate", row)
			} else if !sung {
				told = append(told, metrics.Reading{Time: row["time_s"], Hz: -estimate})
			} else {
				told = append(told, metrics.Reading{Time: row["time_s"], Hz: estimate})
			}
			truth = append(truth, metrics.Reading{Time: row["time_s"], Hz: hz})
			kept = append(kept, metrics.Reading{Time: row["time_s"], Hz: row["f0_hz"]})
			delete(row, "estimate_hz")
			if !maps.Equal(row, without[i]) {
				t.Fatalf("row %v, %v without --estimates", row, without[i])
			}
		}
		a, b := metrics.Align(truth, told), metrics.Align(truth, kept)
		with, bare := metrics.RawPitch(a, 50), metrics.RawPitch(b, 50)
		t.Logf("raw pitch accuracy %.3f, %.3f without estimates; voicing recall %.3f", with, bare, metrics.VoicingRecall(a))
		if with <= bare || metrics.VoicingRecall(a) != metrics.VoicingRecall(b) {
			t.Errorf("raw pitch accuracy %v and voicing recall %v, without estimates %v and %v", with, metrics.VoicingRecall(a), bare, metrics.VoicingRecall(b))
		}
	}
}
