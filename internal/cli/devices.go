package cli

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/internal/device"
	"singback/internal/report"
)

// devicesRecord is what devices prints with --format json.
type devicesRecord struct {
	Schema  int           `json:"schema"`
	Devices []device.Info `json:"devices"`
}

func newDevices(e *env) *cobra.Command {
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "devices",
		Short: "List the microphones and loudspeakers",
		Long: `Devices lists the sound devices that PortAudio sees and marks the defaults. Any
part of a name that fits only one device works with --device.`,
		Example: `  singback devices`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			list, err := device.List(cmd.Context())
			if err != nil {
				return err
			}
			if f.value == "json" {
				return e.printIndented(devicesRecord{report.Schema, list})
			}
			w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
			fmt.Fprintln(w, "device\tinputs\toutputs\trate Hz\tdriver\tdefault for")
			for _, d := range list {
				use := ""
				switch {
				case d.DefaultInput && d.DefaultOutput:
					use = "microphone and loudspeaker"
				case d.DefaultInput:
					use = "microphone"
				case d.DefaultOutput:
					use = "loudspeaker"
				}
				fmt.Fprintf(w, "%s\t%d\t%d\t%.0f\t%s\t%s\n", d.Name, d.Inputs, d.Outputs, d.SampleRate, d.HostAPI, use)
			}
			return w.Flush()
		},
	}
	addFormat(cmd, f)
	return cmd
}
