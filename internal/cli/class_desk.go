package cli

import (
	"net/http"

	"github.com/spf13/cobra"

	"singback/internal/classfile"
	"singback/internal/page/teacher"
)

// deskOf opens the teacher's desk of a class, once it was seen that it is one.
func deskOf(e *env, path string) (map[string]map[string]func(http.ResponseWriter, *http.Request) error, error) {
	if path == "" {
		return nil, usagef("--class: want the file of a class")
	}
	f, err := classfile.Read(path)
	if err != nil {
		return nil, err
	}
	if err := f.Close(); err != nil {
		return nil, err
	}
	return teacher.New(teacher.OfFile(path), e.clock).Handlers(), nil
}

func newClassDesk(e *env, c *classFlags) *cobra.Command {
	o := &pageOptions{}
	cmd := &cobra.Command{
		Use:   "desk",
		Short: "The same in a browser: the table, and takes to be heard, seen and decided",
		Long: `Desk opens the class in the browser: the table of who handed in what, the takes by
doubt or by lot, and each take with its mark, the picture of the pitch, and what the
mark rests on, to be heard from one bar before. One letter decides. Only this computer
can reach it, at the address that is printed, which has a key in it. Ctrl-C ends it.

It is the desk of singback page --class FILE, which has the page for practice beside
it. The terminal can work on the class meanwhile. See singback help desk.`,
		Example: `  singback class desk
  singback class desk --no-open`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			path, err := c.path()
			if err != nil {
				return err
			}
			if o.port < 0 || o.port > 65535 {
				return usagef("--port: %d: want 1 to 65535, or 0 for a free one", o.port)
			}
			site, err := e.site()
			if err != nil {
				return err
			}
			o.class = path
			home, err := o.home(cmd, e)
			if err != nil {
				return err
			}
			opened := home.page()
			if opened.Desk, err = deskOf(e, path); err != nil {
				return err
			}
			return o.serve(cmd.Context(), e, site, opened, "")
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.noOpen, "no-open", false, "open no browser: print the address, and wait")
	f.IntVar(&o.port, "port", 0, "the `PORT` of this computer (else a free one)")
	completed(cmd, "port", fixed())
	return cmd
}
