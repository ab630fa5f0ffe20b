package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/review"
	"singback/internal/synth"
	"singback/internal/testkit"
)

// The jury's data are pitch curves. So that codecs have something to code, each curve is
// sung by the model voice of internal/synth, in stretches from silence to silence, and the
// recording is graded as it is and through each codec: what they change is their doing.

// coder is a codec, as the command that makes a file of a WAV: IN and OUT stand for them.
type coder struct {
	name, file string
	command    []string
}

// coders are what phones and messengers make, at the rates they use (common practice).
var coders = []coder{
	{"FLAC", "a.flac", []string{"ffmpeg", "-i", "IN", "OUT"}},
	{"Opus, 16 kb/s", "a.opus", []string{"ffmpeg", "-i", "IN", "-c:a", "libopus", "-b:a", "16k", "-application", "voip", "OUT"}},
	{"Opus, 24 kb/s", "b.opus", []string{"ffmpeg", "-i", "IN", "-c:a", "libopus", "-b:a", "24k", "OUT"}},
	{"Vorbis, 64 kb/s", "a.ogg", []string{"ffmpeg", "-i", "IN", "-c:a", "libvorbis", "-b:a", "64k", "OUT"}},
	{"AAC, 64 kb/s", "a.m4a", []string{"ffmpeg", "-i", "IN", "-c:a", "aac", "-b:a", "64k", "OUT"}},
	{"MP3, 64 kb/s", "a.mp3", []string{"ffmpeg", "-i", "IN", "-c:a", "libmp3lame", "-b:a", "64k", "OUT"}},
	{"AMR-NB, 12.2 kb/s", "a.amr", []string{"sox", "-V1", "IN", "-r", "8000", "-c", "1", "-t", "amr-nb", "-C", "7", "OUT"}},
}

const aboutCodecs = `Each pitch curve of the jury's takes is sung by the model voice (steady, on ah, with a little breath), since the data have
no sound, and that recording is graded as it is and through each codec, decoded by ` + "`internal/codec`" + `. The verdicts are the
jury's of the takes themselves: the first row says what is lost by the singing, the rows below what the codecs lose
beside it. Scores in free key. "passed" is a pass probability of a half or more.
`

// throughCodecs prints how the grades of every nth take change by the codecs; and keeps it.
func throughCodecs(w io.Writer, dir, results string, nth int) error {
	commit := testkit.Commit()
	var text bytes.Buffer
	if err := codecTable(io.MultiWriter(w, &text), dir, nth); err != nil || results == "" {
		return err
	}
	r := testkit.Result{Name: "jury-codecs", Title: "The grade through codecs at phone bit rates", Make: fmt.Sprintf("make evaluate-jury CODECS=%d", nth),
		Text: aboutCodecs + "\n```text\n" + text.String() + "```\n"}
	path, err := r.Keep(results, time.Now(), commit)
	if err == nil {
		fmt.Fprintln(os.Stderr, "kept in", path)
	}
	return err
}

func codecTable(w io.Writer, dir string, nth int) error {
	if dir == "" {
		return errors.New("SINGBACK_JURY is not set: no jury's data")
	}
	d, err := read(dir)
	if err != nil {
		return err
	}
	var takes []sung
	for i := 0; i < len(d.takes); i += nth {
		takes = append(takes, d.takes[i])
	}
	d.takes = takes
	curve := make([]grade.Grading, len(takes))
	through := make([][]grade.Grading, 1+len(coders)) // the WAV first
	for k := range through {
		through[k] = make([]grade.Grading, len(takes))
	}
	err = review.Each(context.Background(), len(takes), func(ctx context.Context, i int) ([]grade.Grading, error) {
		return d.coded(ctx, takes[i], uint64(i))
	}, func(i int, g []grade.Grading, err error) error {
		if err != nil {
			return fmt.Errorf("%s: %w", takes[i].file, err)
		}
		curve[i] = g[0]
		for k := range through {
			through[k][i] = g[k+1]
		}
		return nil
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%d takes; written melodies, free key\n\n", len(takes))
	fmt.Fprintln(w, "                         AUC   balanced  Spearman   score off by        probability off by    passed")
	fmt.Fprintln(w, "                                                    mean  95 %  most     mean  95 %  most    otherwise")
	d.codecRow(w, "the curves themselves", curve, nil)
	d.codecRow(w, "sung, as WAV", through[0], nil)
	for k, c := range coders {
		d.codecRow(w, "  "+c.name, through[k+1], through[0])
	}
	return nil
}

// codecRow prints what grades are worth beside the jury, and how far they are from others.
func (d *data) codecRow(w io.Writer, name string, g, beside []grade.Grading) {
	var score, pass, marks, expert []float64
	var off, odds []float64
	turned := 0
	for i := range g {
		score, pass = append(score, g[i].Score), append(pass, g[i].Pass)
		if d.takes[i].grade > 0 {
			marks, expert = append(marks, g[i].Score), append(expert, d.takes[i].grade)
		}
		if beside != nil {
			off = append(off, math.Abs(g[i].Score-beside[i].Score))
			odds = append(odds, math.Abs(g[i].Pass-beside[i].Pass))
			if (g[i].Pass >= .5) != (beside[i].Pass >= .5) {
				turned++
			}
		}
	}
	fmt.Fprintf(w, "%-23s  %.3f  %.3f     %.3f", name, auc(d.pass(), score), balanced(d.pass(), pass, .5), spearman(marks, expert))
	if beside == nil {
		fmt.Fprintln(w)
		return
	}
	for _, x := range [][]float64{off, odds} {
		slices.Sort(x)
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		fmt.Fprintf(w, "     %.3f %.3f %.3f", sum/float64(len(x)), x[len(x)*95/100], x[len(x)-1])
	}
	fmt.Fprintf(w, "    %d of %d\n", turned, len(g))
}

// coded grades a take's curve, its singing as WAV, and that through each codec.
func (d *data) coded(ctx context.Context, t sung, seed uint64) ([]grade.Grading, error) {
	rules := grade.DefaultRules()
	line := d.lines[t.melody]
	of, err := grade.Of(line, grade.OfCurve(t.curve), rules)
	if err != nil {
		return nil, err
	}
	out := []grade.Grading{of}
	dir, err := os.MkdirTemp("", "jury-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	wav := filepath.Join(dir, "take.wav")
	f, err := os.Create(wav)
	if err != nil {
		return nil, err
	}
	const rate = 44100
	if err := errors.Join(audio.WriteWAV(f, rate, sing(t.curve, rate, seed)), f.Close()); err != nil {
		return nil, err
	}
	files := []string{wav}
	for _, c := range coders {
		path := filepath.Join(dir, c.file)
		if err := c.make(ctx, wav, path); err != nil {
			return nil, err
		}
		files = append(files, path)
	}
	for _, path := range files {
		p, err := (review.Reader{}).Read(ctx, path)
		if err != nil {
			return nil, err
		}
		g, err := grade.Of(line, p, rules)
		if err != nil {
			return nil, err
		}
		out = append(out, g)
	}
	return out, nil
}

func (c coder) make(ctx context.Context, wav, out string) error {
	args := slices.Clone(c.command)
	for i, a := range args {
		switch a {
		case "IN":
			args[i] = wav
		case "OUT":
			args[i] = out
		}
	}
	if args[0] == "ffmpeg" {
		args = slices.Insert(args, 1, "-nostdin", "-v", "error", "-y")
	}
	said, err := exec.CommandContext(ctx, args[0], args[1:]...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", args[0], err, said)
	}
	return nil
}

// sing sings a pitch curve: each stretch from silence to silence as one breath, whose pitch
// is that of the curve.
func sing(curve []grade.Moment, rate int, seed uint64) []float64 {
	const hole = 0.03 // seconds that a voice sounds through
	var notes []synth.Sung
	at := 0.0
	for i := 0; i < len(curve); {
		if !curve[i].Voiced {
			i++
			continue
		}
		last := i
		for j := i; j < len(curve) && curve[j].At-curve[last].At <= hole; j++ {
			if curve[j].Voiced {
				last = j
			}
		}
		from, to := curve[i].At, curve[last].At+hop
		if from > at {
			notes = append(notes, synth.Rest(from-at))
		}
		base := curve[i].Cents
		stretch := curve[i : last+1]
		n := synth.Sung{Hz: 440 * math.Exp2((float64(base)-6900)/1200), Duration: to - from, Level: -20, ShimmerDB: .2, BreathDB: 30}
		n.Bend = func(seconds float64) float64 { return bend(stretch, from+seconds) - float64(base) }
		notes = append(notes, n)
		at = to
		i = last + 1
	}
	notes = append(notes, synth.Rest(.3))
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(notes, seed)
	return x
}

// bend is the pitch of a curve at a time, in cents: on the line between its points, but for
// a leap, which is one.
func bend(curve []grade.Moment, at float64) float64 {
	k := min(len(curve)-1, max(0, int((at-curve[0].At)/hop)))
	for k > 0 && !curve[k].Voiced {
		k--
	}
	a, b := float64(curve[k].Cents), float64(curve[k].Cents)
	if k+1 < len(curve) && curve[k+1].Voiced {
		b = float64(curve[k+1].Cents)
	}
	if math.Abs(b-a) > 100 {
		return a
	}
	return a + (b-a)*min(1, (at-curve[k].At)/hop)
}
