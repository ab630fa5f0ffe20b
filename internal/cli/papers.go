package cli

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

// Papers are what a package has beside the program, made from the commands
// themselves: manual pages (man(7), section 1) named like singback-class-mark.1, and
// the completions of each shell under the names by which it finds them. The same
// version and day give the same bytes. The program itself does not hold this.
func Papers(version string, day time.Time) (map[string][]byte, error) {
	root := newRoot(&env{
		stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard,
		getenv:   func(string) string { return "" },
		terminal: func(any) bool { return false },
	})
	papers := map[string][]byte{}
	root.InitDefaultVersionFlag()
	each(root, func(cmd *cobra.Command) {
		cmd.InitDefaultHelpFlag()
		papers["man/"+manName(cmd)+".1"] = manPage(cmd, version, day)
	})
	for name, write := range map[string]func(io.Writer) error{
		"completions/bash/singback":      func(w io.Writer) error { return root.GenBashCompletionV2(w, true) },
		"completions/zsh/_singback":      root.GenZshCompletion,
		"completions/fish/singback.fish": func(w io.Writer) error { return root.GenFishCompletion(w, true) },
		"completions/singback.ps1":       root.GenPowerShellCompletionWithDesc,
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		papers[name] = b.Bytes()
	}
	return papers, nil
}

// each calls do for a command and all below it that help shows.
func each(cmd *cobra.Command, do func(*cobra.Command)) {
	do(cmd)
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			each(c, do)
		}
	}
}

// manName is what the manual page of a command is called.
func manName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// manPage is the manual page of a command: what its help says, in the sections that
// man-pages(7) lists, in its order.
func manPage(cmd *cobra.Command, version string, day time.Time) []byte {
	var b bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line(`.TH "%s" 1 "%s" "singback %s" "singback"`, roff(strings.ToUpper(manName(cmd))), day.UTC().Format(time.DateOnly), roff(version))
	line(".SH NAME\n%s \\- %s", roff(manName(cmd)), roff(cmd.Short))
	line(".SH SYNOPSIS")
	if cmd.Runnable() {
		line(`.B "%s"`, quoted(cmd.UseLine()))
	}
	if cmd.HasAvailableSubCommands() {
		if cmd.Runnable() {
			line(".br")
		}
		line(`.B "%s"`, quoted(cmd.CommandPath()+" command"))
	}
	line(".SH DESCRIPTION")
	manText(&b, cmd.Long)
	if cmd.HasAvailableSubCommands() {
		line(".SH COMMANDS")
		for _, c := range cmd.Commands() {
			if c.IsAvailableCommand() {
				line(".TP\n.BR \"%s\" (1)\n%s", quoted(manName(c)), roff(c.Short))
			}
		}
	}
	line(".SH OPTIONS")
	for i, group := range groupedFlags(cmd) {
		if len(group) > 0 {
			line(".SS \"%s\"", quoted(flagGroups[i].heading))
		}
		for _, flag := range group {
			line(".TP\n.B \"%s\"\n%s", quoted(strings.TrimSpace(flag[0])), roff(flag[1]))
		}
	}
	line(".SH EXIT STATUS\n0 done, 1 failed, 2 wrong usage.")
	if cmd.HasExample() {
		line(".SH EXAMPLES")
		manText(&b, cmd.Example)
	}
	line(".SH SEE ALSO")
	if cmd.HasParent() {
		line(".BR \"%s\" (1)", quoted(manName(cmd.Parent())))
		line(".br")
	}
	line("The handbook comes with the program: singback help lists its topics.")
	return b.Bytes()
}

// manText sets the text of help: paragraphs are filled, lines that are set in stand
// as they are.
func manText(b *bytes.Buffer, text string) {
	as := false // lines stand as they are
	end := func() {
		if as {
			b.WriteString(".EE\n.RE\n")
			as = false
		}
	}
	blank := false
	for line := range strings.SplitSeq(strings.Trim(text, "\n"), "\n") {
		line = strings.ReplaceAll(strings.TrimRight(line, " \t"), "\t", "    ")
		if line == "" {
			blank = true
			continue
		}
		set := strings.HasPrefix(line, "  ")
		switch {
		case set && as && blank:
			b.WriteString("\n")
		case set && !as:
			if blank {
				b.WriteString(".PP\n")
			}
			b.WriteString(".RS 2\n.EX\n")
			as = true
		case !set:
			end()
			if blank {
				b.WriteString(".PP\n")
			}
		}
		blank = false
		if set {
			line = line[2:]
		}
		b.WriteString(roff(line) + "\n")
	}
	end()
}

// roff writes text so that it stands as it is: no request, no escape, hyphens and
// quotes that can be typed and searched for (groff_char(7)).
func roff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`, "'", `\(aq`, "`", `\(ga`, "^", `\(ha`, "~", `\(ti`).Replace(s)
	if strings.HasPrefix(s, ".") {
		s = `\&` + s
	}
	return s
}

// quoted is roff within an argument in double quotes.
func quoted(s string) string { return strings.ReplaceAll(roff(s), `"`, `\(dq`) }
