package device

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"time"

	"singback/internal/plain"
)

const (
	// probeArg makes this program list the devices and end; probeEnv marks the
	// child, so that a program that forgot ServeProbe does not start itself for
	// ever.
	probeArg = "__singback-list-sound-devices"
	probeEnv = "SINGBACK_DEVICE_PROBE"
	// probeMark begins the one line that counts: libraries print too.
	probeMark = "singback-sound-devices "

	probeWithin = 5 * time.Second
	probeMost   = 1 << 20 // bytes of output looked at
)

// answer is what the child prints.
type answer struct {
	Devices []Info `json:"devices"`
	Error   string `json:"error,omitempty"`
}

// ServeProbe is how a program lists its devices in a child process of itself.
// Call it first thing in main and in TestMain, with os.Args[1:] and os.Stdout:
//
//	if device.ServeProbe(os.Args[1:], os.Stdout) {
//		return
//	}
//
// It returns true, having printed the list, in such a child, and false,
// having done nothing, anywhere else.
func ServeProbe(args []string, stdout io.Writer) bool {
	if len(args) != 1 || args[0] != probeArg {
		return false
	}
	var a answer
	if b := newBackend(); b == nil {
		a.Error = errBuiltWithout.Error()
	} else if devices, err := b.devices(); err != nil {
		a.Error = strings.TrimPrefix(err.Error(), ErrNoDevice.Error()+": ")
	} else {
		a.Devices = devices
	}
	line, err := json.Marshal(a)
	if err != nil {
		return true // no answer, which the parent takes for no device
	}
	fmt.Fprintf(stdout, "\n%s%s\n", probeMark, line)
	return true
}

// probeChild lists the devices in a child process.
func probeChild(ctx context.Context) ([]Info, error) {
	if newBackend() == nil {
		return nil, fmt.Errorf("%w: %w", ErrNoDevice, errBuiltWithout)
	}
	if os.Getenv(probeEnv) != "" {
		return nil, noDevice("this program does not call device.ServeProbe")
	}
	self, err := os.Executable()
	if err != nil {
		return nil, noDevice("cannot look for devices: " + err.Error())
	}
	return probe(ctx, probeWithin, self, probeArg)
}

// probe runs the command and reads its answer. Whatever goes wrong in it is
// ErrNoDevice; only the end of ctx is ctx.Err().
func probe(ctx context.Context, within time.Duration, command string, args ...string) ([]Info, error) {
	timed, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	cmd := exec.CommandContext(timed, command, args...)
	cmd.Env = append(os.Environ(), probeEnv+"=1", "GOTRACEBACK=none")
	cmd.WaitDelay = time.Second // for a grandchild that keeps the pipe
	out := &limited{most: probeMost}
	cmd.Stdout = out // standard error is discarded: it holds the driver's noise
	err := cmd.Run()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	devices, answered := parseAnswer(out.Bytes())
	var exit *exec.ExitError
	switch {
	case answered == nil:
		return devices, nil
	case errors.Is(answered, ErrNoDevice):
		return nil, answered
	case timed.Err() != nil:
		return nil, noDevice(fmt.Sprintf("the sound system did not answer within %v", within))
	case errors.As(err, &exit):
		return nil, noDevice("the sound library gave up while looking for devices, as it does where ALSA has no default device")
	case err != nil:
		return nil, noDevice("cannot look for devices: " + err.Error())
	}
	return nil, noDevice(answered.Error())
}

var errGarbled = errors.New("the list of devices cannot be read")

// parseAnswer finds and reads the child's line.
func parseAnswer(out []byte) ([]Info, error) {
	for line := range bytes.Lines(out) {
		rest, ok := bytes.CutPrefix(line, []byte(probeMark))
		if !ok {
			continue
		}
		var a answer
		if err := json.Unmarshal(rest, &a); err != nil {
			break
		}
		if a.Error != "" {
			return nil, noDevice(plain.Line(a.Error))
		}
		if len(a.Devices) == 0 {
			return nil, noDevice("the sound library sees none")
		}
		for i := range a.Devices {
			d := &a.Devices[i]
			d.Name, d.HostAPI = plain.Line(d.Name), plain.Line(d.HostAPI)
			if d.Inputs < 0 || d.Outputs < 0 || d.LowInputLatency < 0 || d.LowOutputLatency < 0 {
				return nil, errGarbled
			}
		}
		return a.Devices, nil
	}
	return nil, errGarbled
}

// limited keeps the first bytes written to it and takes the rest as read.
type limited struct {
	bytes.Buffer
	most int
}

func (l *limited) Write(p []byte) (int, error) {
	l.Buffer.Write(p[:min(len(p), l.most-l.Len())])
	return len(p), nil
}
