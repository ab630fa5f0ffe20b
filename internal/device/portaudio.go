//go:build cgo

package device

import (
	"errors"
	"fmt"
	"os"

	"github.com/gordonklaus/portaudio"

	"singback/internal/audio"
)

// PortAudio tells whether this build can use sound devices.
const PortAudio = true

// library is the backend that is PortAudio. host sees to it that one goroutine
// at a time is in here.
type library struct{}

func newBackend() backend { return library{} }

// started initialises PortAudio for as long as the caller needs it; PortAudio
// counts, so every success needs one Terminate.
func started() error {
	// Looking for devices must not start a JACK server.
	if _, set := os.LookupEnv("JACK_NO_START_SERVER"); !set {
		os.Setenv("JACK_NO_START_SERVER", "1")
	}
	if err := portaudio.Initialize(); err != nil {
		return noDevice(err.Error())
	}
	return nil
}

func (library) devices() ([]Info, error) {
	hush()
	defer unhush()
	if err := started(); err != nil {
		return nil, err
	}
	defer portaudio.Terminate()
	list, _, err := devices()
	return list, err
}

// devices describes what PortAudio sees; it must be initialised.
func devices() ([]Info, []*portaudio.DeviceInfo, error) {
	found, err := portaudio.Devices()
	if err != nil {
		return nil, nil, noDevice(err.Error())
	}
	in, _ := portaudio.DefaultInputDevice()
	out, _ := portaudio.DefaultOutputDevice()
	list := make([]Info, len(found))
	for i, d := range found {
		list[i] = Info{
			Name: d.Name, HostAPI: d.HostApi.Name,
			Inputs: d.MaxInputChannels, Outputs: d.MaxOutputChannels,
			SampleRate:   d.DefaultSampleRate,
			DefaultInput: d == in, DefaultOutput: d == out,
			LowInputLatency: d.DefaultLowInputLatency, LowOutputLatency: d.DefaultLowOutputLatency,
		}
	}
	return list, found, nil
}

func (library) openInput(i int, want format, ready func(format), record func(in []float32, missed, filled bool)) (stream, error) {
	return open(i, capture, want, ready, func(in []float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
		record(in, flags&portaudio.InputOverflow != 0, flags&portaudio.InputUnderflow != 0)
	})
}

func (library) openOutput(i int, want format, ready func(format), play func(out []float32, missed bool)) (stream, error) {
	return open(i, playback, want, ready, func(out []float32, _ portaudio.StreamCallbackTimeInfo, flags portaudio.StreamCallbackFlags) {
		play(out, flags&portaudio.OutputUnderflow != 0)
	})
}

// open opens and starts a callback stream in which the driver chooses the size
// of every block. Standard error is silenced until the stream has been stopped.
func open(i int, d direction, want format, ready func(format), callback any) (s stream, err error) {
	hush()
	defer func() {
		if err != nil {
			unhush()
		}
	}()
	if err := started(); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			portaudio.Terminate()
		}
	}()
	list, found, err := devices()
	if err != nil {
		return nil, err
	}
	if i >= len(found) || d.channels(list[i]) < want.channels {
		return nil, noDevice("the devices have just changed")
	}
	p := portaudio.StreamParameters{
		SampleRate:      float64(want.rate),
		FramesPerBuffer: portaudio.FramesPerBufferUnspecified,
	}
	end := portaudio.StreamDeviceParameters{Device: found[i], Channels: want.channels, Latency: want.latency}
	if d == capture {
		p.Input = end
	} else {
		p.Output = end
	}
	if portaudio.IsFormatSupported(p, callback) != nil {
		p.SampleRate = list[i].SampleRate
	}
	got := want
	got.rate = int(p.SampleRate)
	if float64(got.rate) != p.SampleRate || got.rate < audio.MinSampleRate || got.rate > audio.MaxSampleRate {
		return nil, fmt.Errorf("the device insists on %g Hz, want a whole number from %d to %d",
			p.SampleRate, audio.MinSampleRate, audio.MaxSampleRate)
	}
	pa, err := portaudio.OpenStream(p, callback)
	if err != nil {
		return nil, err
	}
	if info := pa.Info(); info != nil {
		got.latency = max(info.InputLatency, info.OutputLatency)
	}
	ready(got)
	if err := pa.Start(); err != nil {
		pa.Close()
		return nil, err
	}
	return running{pa}, nil
}

// running is an open stream that holds PortAudio initialised and standard
// error silenced.
type running struct{ pa *portaudio.Stream }

func (r running) stop() error {
	defer unhush()
	return errors.Join(r.pa.Stop(), r.pa.Close(), portaudio.Terminate())
}
