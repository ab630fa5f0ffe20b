package cli

import (
	"runtime"
	"runtime/debug"
	"strings"
	"testing"

	"singback/internal/device"
)

func TestVersion(t *testing.T) {
	where := ", " + runtime.GOOS + "/" + runtime.GOARCH + "\n"
	for _, c := range []struct {
		name      string
		info      *debug.BuildInfo
		portaudio bool
		want      string
	}{
		{"of a release", &debug.BuildInfo{GoVersion: "go1.99", Main: debug.Module{Version: "v1.2.3"}}, true,
			"singback v1.2.3\ngo1.99" + where + "with PortAudio: a microphone and a loudspeaker can be used"},
		{"of a tree that was changed", &debug.BuildInfo{GoVersion: "go1.99", Main: debug.Module{Version: "(devel)"}, Settings: []debug.BuildSetting{
			{Key: "vcs.revision", Value: "0123abcd"}, {Key: "vcs.time", Value: "2026-11-25T10:00:00Z"}, {Key: "vcs.modified", Value: "true"},
		}}, false, "singback (devel)\ncommit 0123abcd of 2026-11-25T10:00:00Z, changed since\ngo1.99" + where + "without PortAudio: no microphone or loudspeaker can be used"},
		{"without any of it", nil, true, "singback (no version)\n" + runtime.Version() + where + "with PortAudio: a microphone and a loudspeaker can be used"},
	} {
		if got := versionOf(c.info, c.portaudio); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.name, got, c.want)
		}
	}
	stdout, _ := call{}.must(t, "--version")
	if want := map[bool]string{true: "\nwith PortAudio", false: "\nwithout PortAudio"}[device.PortAudio]; !strings.HasPrefix(stdout, "singback ") || !strings.Contains(stdout, want) || !strings.HasSuffix(stdout, "used\n") {
		t.Errorf("--version prints %q", stdout)
	}
}
