package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"singback/internal/classfile"
	"singback/internal/desk"
)

func newClassCheck(e *env, c *classFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "See whether the file of a class is sound",
		Long: `Check looks through the whole file of a class: its structure, every task and its
model, every take with what was measured of it and its mark. It changes nothing; the
exit status is 1 if something is wrong, and then it says what.`,
		Example: `  singback class check`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.with(false, func(f *classfile.File) error {
				n, err := desk.Check(cmd.Context(), f)
				if err != nil {
					return err
				}
				return e.print(fmt.Sprintf("%s: sound; %s, %s, %s\n", f.Path(), many(n.Students, "student"), many(n.Tasks, "task"), many(n.Takes, "take")))
			})
		},
	}
}
