package training

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"

	"singback/internal/audio"
	"singback/internal/testkit"
)

// Recordings reads the sight-singing recordings of the folder of reference data:
// real singing, with the notes where annotators marked them. Of a clip only
// Name, Rate, X and the On and Off of Notes are set.
func Recordings(dir string) ([]*Clip, error) {
	dir = filepath.Join(dir, "sight-singing")
	recordings, err := testkit.Table(filepath.Join(dir, "recordings.csv"))
	if err != nil {
		return nil, err
	}
	notes, err := testkit.Table(filepath.Join(dir, "notes.csv"))
	if err != nil {
		return nil, err
	}
	var out []*Clip
	for _, r := range recordings {
		c := &Clip{Name: r["recording"]}
		for _, n := range notes {
			if n["recording"] != c.Name {
				continue
			}
			on, err := strconv.ParseFloat(n["onset"], 64)
			if err != nil {
				return nil, fmt.Errorf("recording %s: %w", c.Name, err)
			}
			off, err := strconv.ParseFloat(n["offset"], 64)
			if err != nil {
				return nil, fmt.Errorf("recording %s: %w", c.Name, err)
			}
			c.Notes = append(c.Notes, Note{On: on, Off: off})
		}
		if err := c.read(filepath.Join(dir, filepath.FromSlash(r["audio"]))); err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// read reads the samples of a recording.
func (c *Clip) read(path string) error {
	w, err := audio.OpenWAV(path)
	if err != nil {
		return err
	}
	defer w.Close()
	c.Rate = w.SampleRate()
	buffer := make([]float64, 1<<14)
	for {
		n, _, err := w.Read(context.Background(), buffer)
		c.X = append(c.X, buffer[:n]...)
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
}
