package cli

import (
	"github.com/spf13/cobra"

	"singback/internal/fold"
)

// asData marks commands whose output is for programs.
const asData = "data"

// isText reports whether a command writes text for people to standard output.
func isText(cmd *cobra.Command) bool {
	if f := cmd.Flags().Lookup("format"); f != nil && f.Value.String() != "text" {
		return false
	}
	if f := cmd.Flags().Lookup("to"); f != nil && (cmd.Name() == "melody" || cmd.Name() == "follow") && f.Value.String() != "text" {
		return false
	}
	for c := cmd; c != nil; c = c.Parent() {
		if _, ok := c.Annotations[asData]; ok {
			return false
		}
	}
	return true
}

// fitHelp fits the help of a command, and of those below it, to a terminal; lines of
// more than 80 columns are hard to read on a wide one, too.
func fitHelp(cmd *cobra.Command, width int) {
	cmd.Long = fold.Text(cmd.Long, min(width, 80))
	for _, c := range cmd.Commands() {
		fitHelp(c, width)
	}
}
