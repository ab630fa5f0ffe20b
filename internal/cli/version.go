package cli

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"singback/internal/device"
)

// version says which build this is, from what the toolchain put into it.
func version() string {
	info, _ := debug.ReadBuildInfo()
	return versionOf(info, device.PortAudio)
}

// versionOf is version of a build; info may be nil.
func versionOf(info *debug.BuildInfo, portaudio bool) string {
	number, language, commit := "(no version)", runtime.Version(), ""
	set := map[string]string{}
	if info != nil {
		if info.Main.Version != "" {
			number = info.Main.Version
		}
		if info.GoVersion != "" {
			language = info.GoVersion
		}
		for _, s := range info.Settings {
			set[s.Key] = s.Value
		}
	}
	if revision := set["vcs.revision"]; revision != "" {
		commit = "commit " + revision
		if at := set["vcs.time"]; at != "" {
			commit += " of " + at
		}
		if set["vcs.modified"] == "true" {
			commit += ", changed since"
		}
		commit += "\n"
	}
	sound := "with PortAudio: a microphone and a loudspeaker can be used"
	if !portaudio {
		sound = "without PortAudio: no microphone or loudspeaker can be used"
	}
	return strings.TrimSpace(fmt.Sprintf("singback %s\n%s%s, %s/%s\n%s", number, commit, language, runtime.GOOS, runtime.GOARCH, sound))
}
