package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/testkit"
)

// written is a written note: how far in cents from it annotators heard what was
// sung, if anything was.
type written struct {
	midi, off float64
	sung      bool
}

// annotated reads the written notes of each recording that has some, and the
// recordings' names in their order.
func annotated(dir string) (names []string, scores map[string][]written, err error) {
	rows, err := testkit.Table(filepath.Join(dir, "sight-singing", "notes.csv"))
	if err != nil {
		return nil, nil, err
	}
	scores = map[string][]written{}
	for _, r := range rows {
		if r["score_index"] == "" {
			continue
		}
		index, err := strconv.Atoi(r["score_index"])
		if err != nil {
			return nil, nil, err
		}
		midi, err := strconv.ParseFloat(r["score_midi"], 64)
		if err != nil {
			return nil, nil, err
		}
		heard, err := strconv.ParseFloat(r["annotated_midi"], 64)
		if err != nil {
			return nil, nil, err
		}
		name := r["recording"]
		if scores[name] == nil {
			names = append(names, name)
		}
		for len(scores[name]) <= index {
			scores[name] = append(scores[name], written{})
		}
		scores[name][index] = written{midi, fold(100 * (heard - midi)), true}
	}
	return names, scores, nil
}

// sightSinging compares which notes are right with the annotation: a written
// note is right where what the annotators heard lies within 50 cents of it,
// after the recording's own median.
func sightSinging(w io.Writer, dir string) error {
	names, scores, err := annotated(dir)
	if err != nil {
		return err
	}
	v := &verdicts{recordings: len(names)}
	for _, name := range names {
		line := grade.Line{}
		var offs []float64
		var notes []written
		for _, n := range scores[name] {
			if n.sung { // the table tells no written note that was left out
				notes, offs = append(notes, n), append(offs, n.off)
				line.Notes = append(line.Notes, grade.Due{Cents: 100 * n.midi, Onset: float64(len(line.Notes)), Length: 1})
			}
		}
		slices.Sort(offs)
		middle := offs[len(offs)/2]
		src, err := audio.OpenWAV(filepath.Join(dir, "sight-singing", "audio", name+".wav"))
		if err != nil {
			return err
		}
		p, err := listen.Take(context.Background(), src, listen.Hearing{}, nil)
		src.Close()
		if err != nil {
			return err
		}
		g, err := grade.Of(line, p, grade.DefaultRules())
		if err != nil {
			return err
		}
		for i, n := range notes {
			// What was not heard well enough to measure is not called wrong.
			f := g.Notes[i].Finding
			v.ours = append(v.ours, f == grade.Right || f == grade.NotHeard)
			v.truth = append(v.truth, math.Abs(fold(n.off-middle)) <= 50)
			v.from = append(v.from, name)
		}
	}
	fmt.Fprintf(w, "\nSight-singing: %d written notes of %d recordings, right or wrong\n\n", len(v.ours), v.recordings)
	v.row(w, "kappa", v.kappa, "   (plain method 0.67, goal 0.80)")
	v.row(w, "wrong notes found", v.found, "   (plain method 0.64, goal 0.85)")
	return alignmentRows(w, dir)
}
