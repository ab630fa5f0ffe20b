package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/classfile"
	"singback/internal/codec"
	"singback/internal/device"
	"singback/internal/doctor"
	"singback/internal/drill"
	"singback/internal/fold"
	"singback/internal/keys"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/store"
)

// doctorCommand holds the flags of doctor.
type doctorCommand struct {
	env    *env
	format *format
	sound  soundFlags
	record recordOptions
	lufs   float64 // --loudness
	tone   bool
	yes    bool
}

func newDoctor(e *env) *cobra.Command {
	d := &doctorCommand{env: e, format: newFormat("text", "json")}
	cmd := &cobra.Command{
		Use:   "doctor",
		Short: "See what works on this computer and what does not",
		Long: `Doctor looks at all that a drill needs and says in a line each what it found and
what to do: the build, the devices and their rates, the microphone and what it
hears of the room (level, mains hum, fans), the terminal and the locale, the
folder, profile and record with their rights, the class files in this folder, a
MIDI keyboard, ffmpeg.

It listens to the room for 3 seconds; be silent then. Nothing of it is kept, and
nothing sounds. With --tone it asks, plays three short sounds and a tone of 10
seconds, quietly, and says how they come back: level, delay, dropouts, what the
driver says. For that the microphone must hear the loudspeaker: no headphones.

Nothing is sent anywhere. The exit status is 1 if something fails.`,
		Example: `  singback doctor
  singback doctor --tone --yes
  singback doctor --format json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return d.run(cmd.Context()) },
	}
	f := cmd.Flags()
	f.BoolVar(&d.tone, "tone", false, "play a test tone too, quietly, and say how it comes back")
	f.BoolVar(&d.yes, "yes", false, "do not ask; it sounds at once")
	f.StringVar(&d.sound.device, "device", "", "microphone: part of its `NAME` (see singback devices)")
	f.StringVar(&d.sound.outputDevice, "output-device", "", "loudspeaker: part of its `NAME` (see singback devices)")
	drill.AddLoudness(f, &d.lufs)
	d.record.addFile(cmd)
	addFormat(cmd, d.format)
	return cmd
}

func (d *doctorCommand) run(ctx context.Context) error {
	e := d.env
	if err := drill.CheckLoudness(d.lufs); err != nil {
		return err
	}
	if d.tone && !d.yes && !e.terminal(e.stdin) {
		return usagef("--tone: nobody can be asked here before it sounds: say --yes too")
	}
	r := doctor.Report{Schema: report.Schema, Devices: []doctor.DeviceRow{}, Places: []doctor.Place{}}
	r.Add(doctor.Build(version(), device.PortAudio))
	if err := d.hear(ctx, &r); err != nil {
		return err
	}
	d.see(&r)
	if err := d.places(ctx, &r); err != nil {
		return err
	}
	if path, err := keys.Find(); err == nil {
		r.Add(doctor.Fine("keyboard", path))
	} else {
		r.Add(doctor.Fine("keyboard", "no MIDI keyboard; none is needed"))
	}
	r.Add(doctor.Program(codec.FFmpeg()))

	failed := r.Failed()
	r.Well = len(failed) == 0
	var err error
	if d.format.value == "json" {
		err = e.printIndented(r)
	} else {
		err = e.print(r.Text())
	}
	if err == nil && !r.Well {
		err = fmt.Errorf("%d of %s fail: %s", len(failed), many(len(r.Checks), "check"), strings.Join(failed, ", "))
	}
	return err
}

// hear looks at the devices, and at what they hear and play.
func (d *doctorCommand) hear(ctx context.Context, r *doctor.Report) error {
	const without = "there is no sound device"
	list, err := device.List(ctx)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	r.Add(doctor.Devices(list, err))
	if err != nil {
		for _, name := range []string{"microphone", "hum", "loudspeaker", "tone"} {
			r.Add(doctor.Unseen(name, without, ""))
		}
		return nil
	}
	r.Devices = doctor.NewDevices(list)
	src, err := device.OpenInput(ctx, d.sound.device, sampleRate)
	var room doctor.Room
	if err == nil {
		defer src.Close()
		fmt.Fprintf(d.env.stderr, "Listening to the room for %g s: be silent.\n", doctor.RoomSeconds)
		room, err = doctor.ListenRoom(ctx, src)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	heard := err
	if err == nil {
		r.Microphone = room.Record()
	}
	out, err := device.OpenOutput(ctx, d.sound.outputDevice, sampleRate)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	late := time.Duration(0)
	rate := 0
	var tone []doctor.Check
	if err == nil {
		defer out.Close()
		rate = out.SampleRate()
		if l, ok := out.(interface{ Latency() time.Duration }); ok {
			late = l.Latency()
		}
		tone = d.sounds(ctx, r, src, out, room, heard)
		if ctx.Err() != nil {
			return ctx.Err()
		}
	} else {
		tone = []doctor.Check{doctor.Unseen("tone", "there is no loudspeaker", "")}
	}
	sounded := r.Tone != nil && (r.Tone.Heard > 0 || r.Tone.Judged)
	r.Add(doctor.Hears(room, sounded, heard))
	if heard == nil && !room.Deaf() {
		r.Add(doctor.Hum(room))
	} else {
		r.Add(doctor.Unseen("hum", "the microphone hears nothing of the room", ""))
	}
	r.Add(doctor.Opens(rate, late, err))
	r.Add(tone...)
	return nil
}

// sounds plays the test tone, where that is wished, and says how it comes back.
// heard is why the microphone hears nothing.
func (d *doctorCommand) sounds(ctx context.Context, r *doctor.Report, src audio.Source, out audio.Sink, room doctor.Room, heard error) []doctor.Check {
	unseen := func(why, do string) []doctor.Check { return []doctor.Check{doctor.Unseen("tone", why, do)} }
	switch {
	case !d.tone:
		return unseen("nothing was played", "singback doctor --tone plays a test tone, quietly, and says how it comes back")
	case heard != nil:
		return unseen("nothing was played: the microphone cannot be used", "")
	case !d.agreed():
		return unseen("nothing was played, as you wished", "")
	}
	s, err := doctor.Play(ctx, src, out, room, d.lufs+doctor.PeakOverLoudness)
	if err != nil {
		return []doctor.Check{doctor.Silent(err)}
	}
	r.Tone = s.Record()
	return s.Comes()
}

// agreed warns, and asks whether the tone may sound.
func (d *doctorCommand) agreed() bool {
	e := d.env
	fmt.Fprintln(e.stderr, fold.Text(calib.LevelCaution, e.width(e.stderr)))
	fmt.Fprintf(e.stderr, "Three short sounds and a tone of %g s come next, at %g LUFS. Take headphones off your ears.\n", doctor.ToneSeconds, d.lufs)
	if d.yes {
		return true
	}
	fmt.Fprintln(e.stderr, "Enter plays them, n and Enter leaves them out.")
	line, err := bufio.NewReader(e.stdin).ReadString('\n')
	return err == nil && strings.TrimSpace(line) == ""
}

// see looks at the terminal and the locale.
func (d *doctorCommand) see(r *doctor.Report) {
	e := d.env
	t := &r.Terminal
	t.UTF8 = !e.ascii()
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if t.Locale = plain.Line(e.getenv(name)); t.Locale != "" {
			break
		}
	}
	if t.Screen = e.terminal(e.stdout); t.Screen {
		t.Colours = doctor.Colours(e.getenv)
		if f, ok := fold.Under(plain.Around(e.stdout)).(*os.File); ok {
			if columns, rows, err := term.GetSize(int(f.Fd())); err == nil && columns > 0 && rows > 0 {
				t.Columns, t.Rows = &columns, &rows
			}
		}
	}
	r.Add(doctor.Terminal(*t), doctor.Locale(*t))
}

// places looks at what is kept: the folder, the profile, the record, and classes in
// the folder in which the program runs.
func (d *doctorCommand) places(ctx context.Context, r *doctor.Report) error {
	e := d.env
	add := func(p doctor.Place, what string, err error, do string) {
		r.Places = append(r.Places, p)
		r.Add(p.Kept(what, err, do))
	}
	if dir := e.dataDir(); dir != "" {
		add(lookAt("folder", dir), "", nil, "")
		d.profile(r, add)
	} else {
		r.Add(doctor.Nowhere("folder"), doctor.Unseen("profile", "no folder is known", ""))
	}

	path, err := d.record.path(e)
	if err != nil {
		r.Add(doctor.Nowhere("record"))
	} else {
		p := lookAt("record", path)
		_, c, err := store.ExamineRecord(ctx, path)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
			add(p, "", nil, "")
		case err != nil:
			add(p, "", err, store.RecordHint(err))
		case len(c.Problems) > 0 || c.Lost > 0:
			add(p, "", fmt.Errorf("%s: %w: %s", p.Path, store.ErrRecordDamaged, strings.Join(c.Problems, "; ")), "see singback record check, and singback help record for how to save what can be read")
		default:
			add(p, fmt.Sprintf("version %d, %s in %s", c.Version, many(c.Answers, "answer"), many(c.Sessions, "session")), nil, "")
		}
	}

	files, err := filepath.Glob("*" + classfile.Extension)
	if err != nil || len(files) == 0 {
		r.Add(doctor.Fine("class", "no file of a class in this folder"))
	}
	for _, path := range files {
		p := lookAt("class", path)
		f, err := classfile.Read(path)
		if err != nil {
			add(p, "", err, "if it was a class, take an older copy of it; if not, give it another ending")
			continue
		}
		err = f.Close()
		add(p, "it can be read", err, "")
	}
	return nil
}

// profile looks at the profile in use.
func (d *doctorCommand) profile(r *doctor.Report, add func(doctor.Place, string, error, string)) {
	singers := d.env.singers()
	name, err := singers.Current()
	switch {
	case err != nil:
		r.Add(doctor.Unread("profile", err))
		return
	case name == store.Nobody:
		r.Add(doctor.Fine("profile", "none is used, as you wished"))
		return
	case name == "":
		r.Add(doctor.NoProfile())
		return
	}
	p := lookAt("profile", singers.Path(name))
	if _, err := singers.Peek(name); err != nil {
		add(p, "", err, "singback calibrate makes a new one; older ones lie beside it")
		return
	}
	add(p, name, nil, "")
}

// lookAt looks at a file or folder: whether it is there, its rights, and whether this
// user may write it. A folder is tried with an empty file that is gone at once.
func lookAt(what, path string) doctor.Place {
	shown := plain.Line(path)
	info, err := os.Stat(path)
	if err != nil {
		return doctor.Place{What: what, Path: shown, Writable: errors.Is(err, fs.ErrNotExist) && canMake(path)}
	}
	mode := info.Mode()
	if runtime.GOOS == "windows" {
		mode = 0
	}
	if info.IsDir() {
		return doctor.NewPlace(what, shown, mode, canWriteIn(path))
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err == nil {
		f.Close()
	}
	return doctor.NewPlace(what, shown, mode, err == nil)
}

// canMake tells whether a path that is not there can be made: the next folder above
// it that is there can be written.
func canMake(path string) bool {
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		if err == nil {
			return info.IsDir() && canWriteIn(dir)
		}
		if !errors.Is(err, fs.ErrNotExist) || dir == filepath.Dir(dir) {
			return false
		}
	}
}

func canWriteIn(dir string) bool {
	f, err := os.CreateTemp(dir, ".singback-*")
	if err != nil {
		return false
	}
	return errors.Join(f.Close(), os.Remove(f.Name())) == nil
}
