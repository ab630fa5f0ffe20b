package main

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"singback/exercise/grade"
	"singback/internal/testkit"
)

// hop is the time between two values of a curve, in seconds.
const hop = 128.0 / 44100

// sung is one answer of a candidate.
type sung struct {
	file, melody, set, candidate string
	pass                         bool
	grade                        float64 // mean of the experts'; 0 if there is none
	curve                        []grade.Moment
	references                   []int // of the piano that played for this candidate
}

// data is the jury's.
type data struct {
	takes  []sung
	lines  map[string]grade.Line // written melodies
	pianos [][]grade.Moment      // all that the piano played
	piano  map[string][]int      // by melody
}

// read reads the folder.
func read(dir string) (*data, error) {
	d := &data{lines: map[string]grade.Line{}, piano: map[string][]int{}}
	notes, err := testkit.Table(filepath.Join(dir, "notes.csv"))
	if err != nil {
		return nil, err
	}
	for _, r := range notes {
		l := d.lines[r["melody"]]
		midi, err := strconv.ParseFloat(r["midi"], 64)
		if err != nil {
			return nil, err
		}
		length, err := strconv.ParseFloat(r["beats"], 64)
		if r["beats"] == "" {
			// Read off the piano; a crotchet is some 0.6 s.
			length, err = strconv.ParseFloat(r["median_reference_seconds"], 64)
			length /= 0.6
		}
		if err != nil {
			return nil, err
		}
		at := 0.0
		if n := len(l.Notes); n > 0 {
			at = l.Notes[n-1].Onset + l.Notes[n-1].Length
		}
		l.Timed = true
		l.Notes = append(l.Notes, grade.Due{Cents: 100 * midi, Onset: at, Length: length})
		d.lines[r["melody"]] = l
	}
	grades, err := testkit.Table(filepath.Join(dir, "grades.csv"))
	if err != nil {
		return nil, err
	}
	type verdict struct {
		pass  bool
		grade float64
	}
	verdicts := map[string]verdict{}
	for _, r := range grades {
		sum, n := 0.0, 0
		for column, v := range r {
			if strings.HasPrefix(column, "a") && v != "" {
				x, err := strconv.ParseFloat(v, 64)
				if err != nil {
					return nil, err
				}
				sum, n = sum+x, n+1
			}
		}
		v := verdict{pass: r["jury"] == "pass"}
		if n > 0 {
			v.grade = sum / float64(n)
		}
		verdicts[r["file"]] = v
	}
	byCandidate := map[string][]int{}
	err = curves(filepath.Join(dir, "references.csv.gz"), func(f []string) error {
		c, err := curve(f[4])
		d.piano[f[1]] = append(d.piano[f[1]], len(d.pianos))
		byCandidate[f[1]+" "+f[2]] = append(byCandidate[f[1]+" "+f[2]], len(d.pianos))
		d.pianos = append(d.pianos, c)
		return err
	})
	if err != nil {
		return nil, err
	}
	err = curves(filepath.Join(dir, "performances.csv.gz"), func(f []string) error {
		c, err := curve(f[3])
		v := verdicts[f[0]]
		set, _, _ := strings.Cut(f[1], "_")
		d.takes = append(d.takes, sung{f[0], f[1], set, f[2], v.pass, v.grade, c, byCandidate[f[1]+" "+f[2]]})
		return err
	})
	return d, err
}

func curves(path string, each func([]string) error) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	r := csv.NewReader(bufio.NewReaderSize(z, 1<<16))
	for i := 0; ; i++ {
		row, err := r.Read()
		if row == nil {
			if i == 0 {
				return err
			}
			return nil
		}
		if i == 0 {
			continue
		}
		if err := each(row); err != nil {
			return fmt.Errorf("%s: row %d: %w", path, i+1, err)
		}
	}
}

func curve(values string) ([]grade.Moment, error) {
	fields := strings.Fields(values)
	out := make([]grade.Moment, len(fields))
	for k, f := range fields {
		hz, err := strconv.ParseFloat(f, 64)
		if err != nil {
			return nil, err
		}
		out[k] = grade.NewMoment(float64(k)*hop, hz, 440)
	}
	return out, nil
}
