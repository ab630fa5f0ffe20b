package cli

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/newfile"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/theory"
)

// print writes text to standard output.
func (e *env) print(text string) error {
	_, err := io.WriteString(e.stdout, text)
	return err
}

// printJSON writes a record to standard output, on one line.
func (e *env) printJSON(record any) error { return json.NewEncoder(e.stdout).Encode(record) }

// printIndented writes a record to standard output, a line a field.
func (e *env) printIndented(record any) error { return indented(e.stdout, record) }

// printCSV writes rows to standard output as CSV.
func (e *env) printCSV(rows [][]string) error {
	w := csv.NewWriter(e.data())
	return errors.Join(w.WriteAll(rows), w.Error())
}

func indented(w io.Writer, record any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(record)
}

// create begins a file that a user named; - is standard output.
func (e *env) create(path string, force bool, who fs.FileMode) (*newfile.File, error) {
	if path == "-" {
		return newfile.Stream(plain.Around(e.stdout)), nil
	}
	return newfile.Create(path, force, who)
}

// writeFile writes a file that a user named, whole or not at all.
func (e *env) writeFile(path string, force bool, who fs.FileMode, write func(io.Writer) error) error {
	f, err := e.create(path, force, who)
	if err != nil {
		return err
	}
	return f.Fill(write)
}

// addForce adds the flag of every command that writes files that somebody named.
func addForce(cmd *cobra.Command, force *bool) {
	cmd.Flags().BoolVar(force, "force", false, "replace files that are there already")
}

// style is how results are written for people, in a naming.
func (e *env) style(names theory.Naming) report.Style {
	return report.Style{Names: names, ASCII: e.ascii()}
}

// chordNames holds --chords: what chords are called beside their symbols.
type chordNames struct{ kind string }

func (c *chordNames) addFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.kind, "chords", "numerals", "what chords are called beside their symbols, a `KIND`: numerals or numbers")
	completed(cmd, "chords", fixed("numerals", "numbers"))
}

// style is the style of texts in which chords are called so.
func (c *chordNames) style(e *env, names theory.Naming) (report.Style, error) {
	s := e.style(names)
	switch strings.ToLower(c.kind) {
	case "numerals":
	case "numbers":
		s.Numbers = true
	default:
		return s, usagef("--chords: %q: want numerals or numbers", short(c.kind))
	}
	return s, nil
}

// many says how many of a thing there are.
func many(n int, thing string) string { return report.Many(n, thing) }
