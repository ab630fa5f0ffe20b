package device

import (
	"bytes"
	"context"
	"errors"
	"os/exec"
	"testing"
	"time"

	"singback/internal/plain"
)

// A program that is no probe child runs on.
func TestServeProbeLeavesOtherArgumentsAlone(t *testing.T) {
	for _, args := range [][]string{nil, {"sing"}, {probeArg, "x"}, {""}} {
		var out bytes.Buffer
		if ServeProbe(args, &out) || out.Len() > 0 {
			t.Errorf("ServeProbe(%q) took the call", args)
		}
	}
}

// Whatever the child does, there is an answer: devices, or ErrNoDevice with
// the reason. /bin/sh plays the child.
func TestProbeSurvivesItsChild(t *testing.T) {
	sh, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("no sh on this machine to play the child")
	}
	good := "echo ALSA noise; echo; echo '" + probeMark + `{"devices":[{"name":"Mic","inputs":1}]}'`
	for _, c := range []struct {
		rule, script string
		within       time.Duration
		want         string // "" for one device
	}{
		{"noise around the answer does not matter", good + "; echo more; echo oops >&2", probeWithin, ""},
		{"an answer counts even if the child then crashes", good + "; kill -ABRT $$", probeWithin, ""},
		{"abort", "kill -ABRT $$", probeWithin, "no default device"},
		{"exit code", "exit 2", probeWithin, "gave up"},
		{"no time", "exec sleep 60", time.Millisecond, "did not answer within 1ms"},
		{"no answer", "true", probeWithin, "cannot be read"},
		{"half an answer", "echo '" + probeMark + `{"devices":[{"na'`, probeWithin, "cannot be read"},
		{"an answer of another kind", "echo '" + probeMark + `{"devices":7}'`, probeWithin, "cannot be read"},
		{"impossible numbers", "echo '" + probeMark + `{"devices":[{"inputs":-1}]}'`, probeWithin, "cannot be read"},
		{"an error of the library", "echo '" + probeMark + `{"error":"Host error"}'`, probeWithin, "Host error"},
		{"an empty list", "echo '" + probeMark + `{"devices":[]}'`, probeWithin, "sees none"},
		{"endless output", "yes | head -c 3000000", probeWithin, "cannot be read"},
	} {
		devices, err := probe(t.Context(), c.within, sh, "-c", c.script)
		if c.want == "" {
			if err != nil || len(devices) != 1 || devices[0].Name != "Mic" {
				t.Errorf("%s: %v, %v; want the device", c.rule, devices, err)
			}
		} else if !errors.Is(err, ErrNoDevice) || !contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want ErrNoDevice with %q", c.rule, err, c.want)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := probe(ctx, probeWithin, sh, "-c", good); err != context.Canceled {
		t.Errorf("cancelled: error %v, want context.Canceled", err)
	}
	if _, err := probe(t.Context(), probeWithin, "./no-such-program"); !errors.Is(err, ErrNoDevice) {
		t.Errorf("no such program: error %v, want ErrNoDevice", err)
	}
}

// A program that forgot ServeProbe must not start itself for ever.
func TestProbeDoesNotNest(t *testing.T) {
	t.Setenv(probeEnv, "1")
	if _, err := List(t.Context()); !errors.Is(err, ErrNoDevice) {
		t.Errorf("List in a child: error %v, want ErrNoDevice", err)
	}
}

// On any machine, with a sound card or without, List answers and the process
// lives on.
func TestListAnswersOnThisMachine(t *testing.T) {
	devices, err := List(t.Context())
	if err != nil && !errors.Is(err, ErrNoDevice) {
		t.Errorf("List: %v, want devices or ErrNoDevice", err)
	}
	t.Logf("%d devices, %v", len(devices), err)
	if newBackend() == nil && !errors.Is(err, errBuiltWithout) {
		t.Errorf("without cgo List says %v", err)
	}
	if _, err := OpenInput(t.Context(), "", 7); err == nil {
		t.Error("OpenInput accepted 7 Hz")
	}
}

func FuzzParseAnswer(f *testing.F) {
	f.Add([]byte(probeMark + `{"devices":[{"name":"Mic","inputs":1}]}`))
	f.Add([]byte("noise\n" + probeMark + `{"error":"x"}` + "\n"))
	f.Add([]byte(probeMark))
	f.Add([]byte(probeMark + `{"devices":[{"name":"Mic\u001b[2J\u202e","host_api":"\u009b","inputs":1}]}`))
	f.Fuzz(func(t *testing.T, out []byte) {
		devices, err := parseAnswer(out)
		if (err == nil) != (len(devices) > 0) {
			t.Errorf("%d devices, error %v", len(devices), err)
		}
		for _, d := range devices {
			if plain.Line(d.Name) != d.Name || plain.Line(d.HostAPI) != d.HostAPI {
				t.Errorf("a device is named %q of %q", d.Name, d.HostAPI)
			}
		}
	})
}
