package cli

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"singback/internal/fold"
)

// usageTemplate is the help of every command below its long text; %[1]d is the width
// that it is made for.
const usageTemplate = `Usage:{{if .Runnable}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} [command]{{end}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableSubCommands}}

Available Commands:
{{commandRows . %[1]d}}{{end}}{{with flagRows . %[1]d}}

{{.}}{{end}}{{if .HasAvailableSubCommands}}

Use "{{.CommandPath}} [command] --help" for more information about a command.{{end}}
`

func init() {
	cobra.AddTemplateFunc("flagRows", flagRows)
	cobra.AddTemplateFunc("commandRows", commandRows)
}

// rows sets words and what they mean in two columns, the second one broken between
// words at so many columns. Where the second one would be too narrow it moves to the
// left; behind a word that reaches into it, it begins on a line of its own.
func rows(list [][2]string, first, width int) string {
	const gap, set, narrow = 2, 8, 24
	var b strings.Builder
	for _, row := range list {
		at, lines := first+gap, []string(nil)
		if width-at < narrow {
			at = set
		}
		for line := range strings.SplitSeq(fold.Text(row[1], width-at), "\n") {
			lines = append(lines, line)
		}
		b.WriteString(row[0])
		if n := utf8.RuneCountInString(row[0]); n+gap <= at {
			b.WriteString(strings.Repeat(" ", at-n) + lines[0])
			lines = lines[1:]
		}
		for _, line := range lines {
			b.WriteString("\n" + strings.Repeat(" ", at) + line)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// firstColumn is how many columns the first column of some rows takes, at most so many.
func firstColumn(list [][2]string, most int) int {
	n := 0
	for _, row := range list {
		if w := utf8.RuneCountInString(row[0]); w > n && w <= most {
			n = w
		}
	}
	return n
}

// commandRows lists the commands below one.
func commandRows(cmd *cobra.Command, width int) string {
	var list [][2]string
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() || c.Name() == "help" {
			list = append(list, [2]string{"  " + c.Name(), c.Short})
		}
	}
	return strings.TrimRight(rows(list, firstColumn(list, 20), width), "\n")
}

// flagRows lists the flags of a command, its own and those of the commands above it,
// in groups.
func flagRows(cmd *cobra.Command, width int) string {
	groups := groupedFlags(cmd)
	first := firstColumn(slices.Concat(groups...), 28)
	var parts []string
	for i, list := range groups {
		if len(list) > 0 {
			parts = append(parts, flagGroups[i].heading+":\n"+rows(list, first, width))
		}
	}
	return strings.TrimRight(strings.Join(parts, "\n"), "\n")
}

// groupedFlags are the flags of a command that are shown, its own and those of the
// commands above it, by group: how each is written, and what it means.
func groupedFlags(cmd *cobra.Command) [][][2]string {
	groups := make([][][2]string, len(flagGroups))
	for i, g := range flagGroups {
		for _, name := range g.names {
			f := cmd.LocalFlags().Lookup(name)
			if f == nil {
				f = cmd.InheritedFlags().Lookup(name)
			}
			if f == nil || f.Hidden {
				continue
			}
			row := [2]string{"  --" + name, ""}
			if f.Shorthand != "" {
				row[0] = "  -" + f.Shorthand + ", --" + name
			}
			var value string
			value, row[1] = valueName(f.Usage, f.Value.Type())
			switch {
			case value != "" && f.NoOptDefVal != "":
				row[0] += "[=" + value + "]"
			case value != "":
				row[0] += " " + value
			}
			row[1] += defaultOf(f.DefValue, f.Value.Type())
			groups[i] = append(groups[i], row)
		}
	}
	return groups
}

// valueName finds what the value of a flag is called: the word in backquotes in its
// text, or else what its type says; "" for a flag that takes none.
func valueName(usage, kind string) (name, text string) {
	if before, rest, ok := strings.Cut(usage, "`"); ok {
		if name, after, ok := strings.Cut(rest, "`"); ok {
			return name, before + name + after
		}
	}
	switch kind {
	case "bool":
		return "", usage
	case "int", "uint64", "float64":
		return "NUMBER", usage
	case "string":
		return "WORD", usage
	}
	return kind, usage
}

// defaultOf says what holds without a flag, where that is worth a word.
func defaultOf(value, kind string) string {
	switch value {
	case "", "0", "false", "[]":
		return ""
	}
	if kind == "string" && strings.Contains(value, " ") {
		value = fmt.Sprintf("%q", value)
	}
	return fmt.Sprintf(" (default %s)", value)
}
