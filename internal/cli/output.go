package cli

import (
	"encoding/json"
	"io"
	"io/fs"

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

// many says how many of a thing there are.
func many(n int, thing string) string { return report.Many(n, thing) }
