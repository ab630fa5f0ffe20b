package cli

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/help"
	"singback/internal/plain"
)

// helpWidth is how wide a topic is at most: longer lines are hard to read.
const helpWidth = 80

// addTopics teaches cobra's help command the topics of the handbook.
func addTopics(cmd, root *cobra.Command, e *env) {
	cmd.Use = "help [TOPIC | COMMAND]"
	cmd.Short = "The handbook: topics to read, and help about every command"
	cmd.Long = `Help shows a topic of the handbook, or the help of a command; without a word it
lists both. A topic is set for the width of the terminal.`
	cmd.Example = `  singback help practice
  singback help sing`
	complete := cmd.ValidArgsFunction
	cmd.ValidArgsFunction = func(c *cobra.Command, args []string, toComplete string) ([]string, cobra.ShellCompDirective) {
		list, directive := complete(c, args, toComplete)
		if len(args) > 0 {
			return list, directive
		}
		for _, t := range help.Topics() {
			if strings.HasPrefix(t.Name, toComplete) {
				list = append(list, cobra.CompletionWithDesc(t.Name, t.Short))
			}
		}
		return list, directive
	}
	cmd.Run, cmd.RunE = nil, func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			root.InitDefaultHelpFlag()
			root.InitDefaultVersionFlag()
			if err := root.Help(); err != nil {
				return err
			}
			return listTopics(e.stdout)
		}
		topic, isTopic := help.Find(args[0])
		of, rest, err := root.Find(args)
		isCommand := err == nil && len(rest) == 0 && of != root
		switch {
		case len(args) == 1:
		case !isCommand && isTopic && !hasCommand(root, args[0]):
			return usagef("%q is one word too many", short(args[1]))
		default:
			isTopic = false
		}
		if !isTopic && !isCommand {
			return unknownTopic(root, args)
		}
		if isTopic {
			if _, err := io.WriteString(e.stdout, topic.Text(min(helpWidth, e.width(e.stdout)), e.ascii())); err != nil {
				return err
			}
		}
		if !isCommand {
			return nil
		}
		if isTopic {
			fmt.Fprintf(e.stdout, "\nThe command %s\n\n", of.Name())
		}
		of.InitDefaultHelpFlag()
		return of.Help()
	}
}

// hasCommand tells whether a command has one of that name below it.
func hasCommand(cmd *cobra.Command, name string) bool {
	return slices.ContainsFunc(cmd.Commands(), func(c *cobra.Command) bool { return c.Name() == name })
}

// listTopics says what the handbook has.
func listTopics(w io.Writer) error {
	var b strings.Builder
	b.WriteString("\nTopics of the handbook:\n")
	for _, t := range help.Topics() {
		fmt.Fprintf(&b, "  %-15s  %s\n", t.Name, t.Short)
	}
	b.WriteString("\nUse \"singback help TOPIC\" to read one.\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// unknownTopic is the error of words that are neither a topic nor a command, with
// the nearest that is.
func unknownTopic(root *cobra.Command, args []string) error {
	for n := len(args) - 1; n > 0; n-- { // a command that is there, and a word too many
		if of, rest, err := root.Find(args[:n]); err == nil && len(rest) == 0 {
			if err := noArgs(of, args[n:]); err != nil {
				return err
			}
		}
	}
	var known []string
	for _, t := range help.Topics() {
		known = append(known, t.Name)
	}
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			known = append(known, c.Name())
		}
	}
	hint := "; singback help lists them"
	if near := plain.Nearest(args[0], known); near != "" {
		hint = fmt.Sprintf("; did you mean %s?", near)
	}
	return usagef("there is no topic and no command %q%s", short(args[0]), hint)
}
