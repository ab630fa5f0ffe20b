// Package device captures from a microphone and plays to a loudspeaker through
// PortAudio. It is the only package that uses cgo; without cgo it builds too,
// and every call returns [ErrNoDevice].
//
// Most users need [OpenInput] and [OpenOutput]; [List] shows what there is. A
// program that calls any of them must call [ServeProbe] first thing in main
// (and in TestMain): PortAudio ends the whole process where ALSA has no
// default device, so devices are looked for in a child process of the same
// program, and a stream is opened only after the child has answered.
//
// The package leaves out full-duplex streams, channel maps, exclusive modes
// and level control. It knows no music and no pitch.
package device

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"singback/internal/audio"
)

// ErrNoDevice says that there is no device to capture from or to play to: no
// sound card, no sound server, no sound library, or a program built without
// cgo. The wrapping error says which. [Hint] says what the user can do.
var ErrNoDevice = errors.New("no sound device")

// ErrWhichDevice says that the device name the user gave matches no device, or
// more than one. The wrapping error lists the names.
var ErrWhichDevice = errors.New("device name does not say which device")

// ErrClosed is returned by Read, Write and Drain once Close has been called.
var ErrClosed = errors.New("the sound device is closed")

// errBuiltWithout is the reason wrapped by ErrNoDevice in a program built
// with CGO_ENABLED=0.
var errBuiltWithout = errors.New("this program was built without PortAudio")

// Info describes one device. A device may have inputs, outputs or both.
type Info struct {
	Name    string `json:"name"`
	HostAPI string `json:"host_api"` // "ALSA", "Core Audio", ...
	// Inputs and Outputs are the most channels the device offers, 0 if it has
	// none in that direction. Plug-ins often claim 32 or more.
	Inputs  int `json:"inputs"`
	Outputs int `json:"outputs"`
	// SampleRate is the device's own default, in hertz.
	SampleRate    float64 `json:"sample_rate_hz"`
	DefaultInput  bool    `json:"default_input"`
	DefaultOutput bool    `json:"default_output"`
	// The smallest latencies the driver recommends for steady sound.
	LowInputLatency  time.Duration `json:"low_input_latency_ns"`
	LowOutputLatency time.Duration `json:"low_output_latency_ns"`
}

// List returns the devices in PortAudio's order. It starts a child process,
// which takes some 100 ms, and gives it at most 5 s. No device at all is
// ErrNoDevice with a reason.
func List(ctx context.Context) ([]Info, error) {
	return system.probe(ctx)
}

// OpenInput starts capturing from the device whose name contains name, without
// regard to case; a whole name wins over a part of one, and "" is the default
// device. No match, or several, is ErrWhichDevice.
//
// rate is in hertz; the device's default is used if it refuses rate or if rate
// is 0, so ask the Source for its SampleRate. A device with two channels or
// more is mixed down to the mean of its first two.
//
// The Source buffers at least 2 s. It also has the methods
//
//	Skip() (skipped int64)   // forget what was captured so far, see there
//	Latency() time.Duration  // from the microphone to Read, as the driver states it
//
// To listen only to what comes after a sound of the tool's own: Drain the
// Sink, let Latency and some 50 ms go by, Skip.
//
// Read returns audio.ErrStalled if nothing came for 500 ms, or for 3 s after
// opening, or, unless Skip was called since, if the program was stopped or the computer
// asleep. One goroutine may call Read and Skip; Close may be called by any.
func OpenInput(ctx context.Context, name string, rate int) (audio.Source, error) {
	in, err := system.openInput(ctx, name, rate)
	if err != nil {
		return nil, fmt.Errorf("open the microphone: %w", err)
	}
	return in, nil
}

// OpenOutput starts playing, silence at first, to the device found as in
// [OpenInput]. Samples are sent to the first two channels alike.
//
// The Sink buffers some 0.3 s, and has the method Latency too, and Underruns() int64,
// how often the driver has told that it had nothing to play. Running dry is silence, faded so that it does
// not click. Drain waits until the last sample has left the buffer and for the
// latency the driver states, plus one block. Write and Drain return
// audio.ErrStalled like Read in OpenInput. One goroutine may call Write and
// Drain; Close may be called by any, and drops what has not been played yet.
func OpenOutput(ctx context.Context, name string, rate int) (audio.Sink, error) {
	out, err := system.openOutput(ctx, name, rate)
	if err != nil {
		return nil, fmt.Errorf("open the loudspeaker: %w", err)
	}
	return out, nil
}

// Hint says in one line what the user can do about an error of this package;
// "" if there is nothing better than the error itself. It names the command that
// lists the devices unless it is that which failed.
func Hint(err error, listing bool) string {
	list := "singback devices lists what is there"
	and := "; " + list
	if listing {
		list, and = "", ""
	}
	switch {
	case errors.Is(err, errBuiltWithout):
		return "build with a C compiler and PortAudio (make run installs both), or use a recording or the simulated singer"
	case errors.Is(err, ErrNoDevice):
		return "plug one in or start the sound server" + and
	case errors.Is(err, ErrWhichDevice):
		return list
	case errors.Is(err, audio.ErrStalled):
		return "check that the device is still plugged in" + and
	}
	return ""
}

// noDevice is ErrNoDevice with a reason.
func noDevice(reason string) error { return fmt.Errorf("%w: %s", ErrNoDevice, reason) }

// direction is capture or playback.
type direction int

const (
	capture direction = iota
	playback
)

func (d direction) String() string {
	if d == capture {
		return "input"
	}
	return "output"
}

// channels is how many channels i has in direction d.
func (d direction) channels(i Info) int {
	if d == capture {
		return i.Inputs
	}
	return i.Outputs
}

func (d direction) isDefault(i Info) bool {
	return d == capture && i.DefaultInput || d == playback && i.DefaultOutput
}

// choose returns the index of the device meant by name.
func choose(devices []Info, d direction, name string) (int, error) {
	var usable, exact, part []int
	for i, dev := range devices {
		if d.channels(dev) == 0 {
			continue
		}
		usable = append(usable, i)
		if strings.EqualFold(dev.Name, name) {
			exact = append(exact, i)
		}
		if strings.Contains(strings.ToLower(dev.Name), strings.ToLower(name)) {
			part = append(part, i)
		}
	}
	if len(usable) == 0 {
		return 0, noDevice("there is no " + d.String() + " device")
	}
	if name == "" {
		i := slices.IndexFunc(devices, func(dev Info) bool { return d.isDefault(dev) && d.channels(dev) > 0 })
		if i < 0 {
			return 0, fmt.Errorf("%w: there is no default %v device; choose one of %s",
				ErrWhichDevice, d, names(devices, usable))
		}
		return i, nil
	}
	switch {
	case len(exact) == 1:
		return exact[0], nil
	case len(part) == 1:
		return part[0], nil
	case len(part) == 0:
		return 0, fmt.Errorf("%w: no %v device is called %q; there are %s",
			ErrWhichDevice, d, name, names(devices, usable))
	}
	return 0, fmt.Errorf("%w: %q could be any of %s", ErrWhichDevice, name, names(devices, part))
}

// names lists the devices at the given indices, quoted.
func names(devices []Info, at []int) string {
	var b strings.Builder
	for k, i := range at {
		if k > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%q", devices[i].Name)
	}
	return b.String()
}
