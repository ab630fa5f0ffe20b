package doctor

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"singback/calib"
	"singback/internal/device"
)

func tenth(x float64) float64     { return math.Round(10*x)/10 + 0 }
func hundredth(x float64) float64 { return math.Round(100*x)/100 + 0 }

// Build says which build this is, as --version does.
func Build(version string, portaudio bool) Check {
	number, _, _ := strings.Cut(version, "\n")
	if !portaudio {
		return fails("build", number+", without PortAudio: no microphone or loudspeaker can be used",
			"build with a C compiler and PortAudio (make build in the sources), or use recordings")
	}
	return well("build", number+", with PortAudio")
}

// Devices says what can be opened; err is that of the list.
func Devices(list []device.Info, err error) Check {
	if err != nil {
		return fails("devices", err.Error(), device.Hint(err, false))
	}
	var in, out *device.Info
	for i, d := range list {
		if d.DefaultInput && d.Inputs > 0 {
			in = &list[i]
		}
		if d.DefaultOutput && d.Outputs > 0 {
			out = &list[i]
		}
	}
	found := fmt.Sprintf("%d found; microphone %s, loudspeaker %s", len(list), standard(in), standard(out))
	if in == nil || out == nil {
		return note("devices", found, "name one with --device and --output-device; singback devices lists them")
	}
	return well("devices", found)
}

func standard(d *device.Info) string {
	if d == nil {
		return "not chosen by the system"
	}
	return fmt.Sprintf("%q (%.0f Hz, %s)", d.Name, d.SampleRate, d.HostAPI)
}

// What a microphone is judged by. Telephone quality is what wireless headsets fall
// back to while they record (HFP: 8 or 16 kHz). A voice at ease reaches some −30 dBFS
// (common practice) and must stand 15 dB above the floor, as calib's advice has it.
const (
	telephone = 16000
	tooLoud   = -45.0
	headroom  = -1.0 // dBFS: a room that nobody sings in, and that high
)

// Opens says how the loudspeaker opened, or why it did not.
func Opens(rate int, latency time.Duration, err error) Check {
	const name = "loudspeaker"
	if err != nil {
		return fails(name, err.Error(), hint(err))
	}
	found := fmt.Sprintf("opens at %d Hz", rate)
	if latency > 0 {
		found += fmt.Sprintf("; the driver states %.0f ms", 1000*latency.Seconds())
	}
	if rate <= telephone {
		return note(name, found+": telephone quality", "close the microphone of a wireless headset, or take another device with --output-device")
	}
	return well(name, found)
}

// hint is what to do about an error of a device.
func hint(err error) string {
	return cmp.Or(device.Hint(err, false), "see singback help troubleshooting")
}

// Hears says what the microphone hears of the room; err is why it does not. sounded
// tells that it heard what was played.
func Hears(r Room, sounded bool, err error) Check {
	const name = "microphone"
	if err != nil {
		return fails(name, err.Error(), hint(err))
	}
	found := fmt.Sprintf("the room at %.0f dBFS, peak %.0f, at %d Hz", r.Noise.Floor, r.Peak, r.Rate)
	switch {
	case r.Deaf() && sounded:
		return note(name, fmt.Sprintf("no noise at all until something sounds, at %d Hz", r.Rate),
			"switch off the noise suppression of the microphone or the system: it may take soft singing for noise")
	case r.Deaf():
		return fails(name, "not even noise arrives: muted or unplugged?",
			"look at its switch, the system's input level and the permission to use it (singback help troubleshooting)")
	case r.Clipped || r.Peak > headroom:
		return note(name, found+": overloaded", "turn its gain down")
	case r.Lost > 0:
		return note(name, fmt.Sprintf("%s; the driver lost %d samples in %g s", found, r.Lost, RoomSeconds), "end other programs, or take another device")
	case r.Noise.Talked():
		return note(name, found+"; a voice was heard", "be silent while it listens, and run this again")
	case r.Rate <= telephone:
		return note(name, found+": telephone quality", "take another microphone with --device; wireless headsets are so while they record")
	case r.Noise.Floor > tooLoud:
		return note(name, found+": louder than a voice can well be heard over", "look for a quieter room, or turn the gain down")
	}
	return well(name, found)
}

// Hum says whether the mains or a fan is heard in the room.
func Hum(r Room) Check {
	const name = "hum"
	n := r.Noise
	var heard []string
	if n.Hum != 0 {
		heard = append(heard, fmt.Sprintf("mains hum of %.0f Hz at %.0f dBFS", n.Hum, n.HumLevel))
	}
	if n.Fan {
		heard = append(heard, fmt.Sprintf("a fan or the like at %.0f dBFS", n.Broadband))
	}
	if len(heard) == 0 {
		return well(name, "neither 50 nor 60 Hz, and no fan")
	}
	found := strings.Join(heard, "; ")
	var do []string
	for _, a := range calib.Advise(calib.NewRoom(calib.Date{}, &n, nil, nil)) {
		do = append(do, strings.TrimSuffix(a.String(), "."))
	}
	if len(do) == 0 {
		return well(name, found+", too soft to matter")
	}
	return note(name, found, strings.Join(do, ". "))
}

// Unseen is a check that was not made.
func Unseen(name, why, do string) Check { return leftOut(name, why, do) }

// Silent is the check of a test tone that could not be played.
func Silent(err error) Check {
	return fails("tone", err.Error(), hint(err))
}

// How much the delays of the test sounds may differ, as the calibration takes them
// for one path; and how far the clocks: crystals keep within 100 ppm (common
// practice), and 1000 ppm is two cents.
const (
	scatter = 0.02
	apart   = 1000.0
)

// Comes says what came back of what was played: level, delay, dropouts, and what
// the drivers say.
func (s Sounded) Comes() []Check {
	return []Check{s.back(), s.whole(), s.drivers()}
}

func (s Sounded) back() Check {
	const name = "tone"
	if !s.Echo.Heard {
		if s.Tone.Heard {
			return note(name, fmt.Sprintf("heard back %.0f dB over the noise, its delay not measured", s.Tone.Over), "turn the loudspeaker up a little, or go to a quieter room")
		}
		return note(name, "played, and not heard back: right with headphones", "without them turn the loudspeaker up, or choose it with --output-device")
	}
	found := fmt.Sprintf("heard back at %.0f dB against what was played, after %.0f ms", math.Round(s.Echo.Level)+0, 1000*s.Echo.Delay)
	if s.Scatter > scatter {
		return note(name, fmt.Sprintf("%s; the delay moves by %.0f ms", found, 1000*s.Scatter), "end other programs: the computer is busy")
	}
	return note(name, found, "use headphones in drills: the microphone hears what is played")
}

func (s Sounded) whole() Check {
	const name = "dropouts"
	t := s.Tone
	if !t.Judged {
		return leftOut(name, "the tone is not heard well enough over the noise to tell", "without headphones, turn the loudspeaker up a little")
	}
	if n := len(t.Dropouts); n > 0 {
		longest := 0.0
		for _, d := range t.Dropouts {
			longest = max(longest, d.Length)
		}
		times := "1 dropout"
		if n > 1 {
			times = fmt.Sprintf("%d dropouts", n)
		}
		found := fmt.Sprintf("%s in %.1f s, the first after %.1f s, the longest %.0f ms", times, t.Seconds, t.Dropouts[0].At, 1000*longest)
		if longest == 0 {
			found = fmt.Sprintf("%s in %.1f s, the first after %.1f s: samples were lost or came twice", times, t.Seconds, t.Dropouts[0].At)
		}
		return fails(name, found, "end other programs, use a cable instead of wireless, or take another device")
	}
	found := fmt.Sprintf("none in %.1f s", t.Seconds)
	if math.Abs(t.Drift) > apart {
		return note(name, fmt.Sprintf("%s; the clocks of microphone and loudspeaker differ by %.0f ppm", found, t.Drift), "take both from one device")
	}
	if s.short() {
		return note(name, found+fmt.Sprintf(", but %g s were played", ToneSeconds), "end other programs: the end or the beginning is missing")
	}
	return well(name, found)
}

// short tells that less of the tone was heard than was played, by a tenth of a second.
func (s Sounded) short() bool { return s.Tone.Seconds < ToneSeconds-toneFade-.1 }

func (s Sounded) drivers() Check {
	const name = "driver"
	found := fmt.Sprintf("lost %d samples, ran out of sound %d times", s.Lost, s.Underruns)
	if s.Latency > 0 {
		found += fmt.Sprintf("; it states %.0f ms there and back", 1000*s.Latency.Seconds())
	}
	if s.Lost > 0 || s.Underruns > 0 {
		return note(name, found, "end other programs, or take another device")
	}
	return well(name, found)
}

// Terminal says what the terminal shows.
func Terminal(t TerminalFact) Check {
	const name = "terminal"
	if !t.Screen {
		return well(name, "none: the output goes elsewhere, as plain lines")
	}
	found, small := "size unknown", false
	if t.Columns != nil && t.Rows != nil {
		found = fmt.Sprintf("%d columns, %d lines", *t.Columns, *t.Rows)
		small = *t.Columns < 80 || *t.Rows < 24
	}
	switch t.Colours {
	case 0:
		found += ", no colours"
	case 1 << 24:
		found += ", all colours"
	default:
		found += fmt.Sprintf(", %d colours", t.Colours)
	}
	if small {
		return note(name, found, "make it 80 columns and 24 lines, so that the screen shows all")
	}
	return well(name, found)
}

// Colours is how many colours a terminal has, by its environment: NO_COLOR turns them
// off, COLORTERM and TERM say how many (common practice). 0 is none.
func Colours(getenv func(string) string) int {
	term := getenv("TERM")
	switch {
	case getenv("NO_COLOR") != "", term == "", term == "dumb":
		return 0
	case strings.EqualFold(getenv("COLORTERM"), "truecolor"), strings.EqualFold(getenv("COLORTERM"), "24bit"), strings.HasSuffix(term, "-direct"):
		return 1 << 24
	case strings.Contains(term, "256color"):
		return 256
	}
	return 16
}

// Locale says whether musical signs can be shown.
func Locale(t TerminalFact) Check {
	const name = "locale"
	if t.UTF8 {
		return well(name, t.Locale+": musical signs are shown")
	}
	is := t.Locale
	if is == "" {
		is = "none is set"
	}
	return note(name, is+": signs are written as plain letters", "set LANG=C.UTF-8, or another locale with UTF-8, to see them")
}

// Kept is the check of a place; what is kept there, "" where it is not there; err is
// what is wrong with it and do what helps.
func (p Place) Kept(what string, err error, do string) Check {
	found := p.Path
	switch {
	case err != nil:
		return fails(p.What, err.Error(), do)
	case !p.There && !p.Writable:
		return fails(p.What, found+": it is not there and cannot be made", "make the folder, or set XDG_DATA_HOME to one of yours")
	case !p.There:
		return well(p.What, found+": not there yet")
	}
	if p.Mode != nil {
		found += " (" + *p.Mode + ")"
	}
	if what != "" {
		found += ": " + what
	}
	switch {
	case !p.Writable:
		return fails(p.What, found+"; it cannot be written", "give yourself the right to write it")
	case p.others:
		mode := "600"
		if p.What == "folder" {
			mode = "700"
		}
		return note(p.What, found+"; other users of this computer may get at it", "type: chmod "+mode+" "+quoted(p.Path))
	}
	return well(p.What, found)
}

// quoted is a path as a POSIX shell reads it.
func quoted(path string) string {
	for _, r := range path {
		if !strings.ContainsRune("/._-+,:@%", r) && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') {
			return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
		}
	}
	return path
}

// Nowhere is the check of a place that is not known.
func Nowhere(what string) Check {
	return fails(what, "no folder is known", "set XDG_DATA_HOME or HOME")
}

// Unread is a check of something that cannot be read.
func Unread(name string, err error) Check {
	return fails(name, err.Error(), "see singback help troubleshooting")
}

// NoProfile is the check of a profile where there is none.
func NoProfile() Check {
	return note("profile", "none yet: the drill asks what an average voice can sing", "singback calibrate makes one; singback profile use none ends this note")
}

// Fine is a check with nothing to do about.
func Fine(name, found string) Check { return well(name, found) }

// Program says whether ffmpeg is there, and how it is got.
func Program(path, install string) Check {
	if path == "" {
		return note("ffmpeg", "not installed: AAC, WMA and films cannot be read; WAV, FLAC, Ogg and MP3 can", "type: "+install)
	}
	return well("ffmpeg", path)
}
