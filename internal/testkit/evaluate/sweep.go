package main

import (
	"fmt"
	"io"
	"slices"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// sweepThresholds looks for the settings of the references that give the
// highest overall accuracy over the dev half, all conditions together.
func sweepThresholds(o options, dir string, w io.Writer) error {
	o.halves, o.reference = []hardset.Half{hardset.Dev}, ""
	s, err := render(o, dir)
	if err != nil {
		return err
	}
	score := func(tracks [][]reading) float64 {
		var all []metrics.Frame
		for i, it := range s.items {
			all = append(all, frames(it, tracks[i])...)
		}
		return 100 * metrics.Overall(all, 50)
	}
	if slices.Contains(o.tools, "yin") {
		if err := sweepYIN(s, w, score); err != nil {
			return err
		}
	}
	for _, method := range []string{"yin", "yinfast"} {
		if !slices.Contains(o.tools, "aubio-"+method) {
			continue
		}
		a := aubio{method: method}
		if _, err := a.installed(); err != nil {
			fmt.Fprintf(w, "aubio-%s: %v\n", method, err)
			continue
		}
		raws, err := a.raws(dir, s.clips)
		if err != nil {
			return err
		}
		best, at := 0.0, a
		for _, a.confidence = range []float64{0, 0.5, 0.6, 0.65, 0.7, 0.75, 0.8, 0.9} {
			for _, a.level = range []float64{-90, -70, -60, -50, -40} {
				var tracks [][]reading
				for i, c := range s.clips {
					tracks = append(tracks, a.readings(c, raws[i]))
				}
				if v := score(tracks); v > best {
					best, at = v, a
				}
			}
		}
		fmt.Fprintf(w, "aubio-%s: %.2f %% at %+v\n", method, best, at.aubioSettings)
	}
	for _, method := range []string{"ac", "cc"} {
		name := "praat"
		if method == "cc" {
			name = "praat-cc"
		}
		if !slices.Contains(o.tools, name) {
			continue
		}
		p := praat{method: method}
		if _, err := p.installed(); err != nil {
			fmt.Fprintf(w, "%s: %v\n", name, err)
			continue
		}
		best, at := 0.0, p
		for _, p.voicing = range []float64{0.35, 0.45, 0.5, 0.55, 0.6, 0.7} {
			for _, p.silence = range []float64{0.03, 0.06, 0.1, 0.15} {
				tracks, err := p.tracks(dir, s.clips, false)
				if err != nil {
					return err
				}
				if v := score(tracks); v > best {
					best, at = v, p
				}
			}
		}
		fmt.Fprintf(w, "%s: %.2f %% at %+v\n", name, best, at.praatSettings)
	}
	return nil
}

func sweepYIN(s *sounds, w io.Writer, score func([][]reading) float64) error {
	all := make([][]estimate, len(s.clips))
	for i, c := range s.clips {
		var err error
		if all[i], err = c.estimates(); err != nil {
			return err
		}
	}
	best, at := 0.0, plainYIN{}
	for _, aperiodicity := range []float64{0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5} {
		for _, level := range []float64{-90, -70, -60, -50, -40} {
			y := plainYIN{yinSettings{aperiodicity, level}}
			var tracks [][]reading
			for _, e := range all {
				tracks = append(tracks, y.readings(e))
			}
			if v := score(tracks); v > best {
				best, at = v, y
			}
		}
	}
	fmt.Fprintf(w, "yin: %.2f %% at %+v\n", best, at.yinSettings)
	return nil
}
