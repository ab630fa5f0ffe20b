package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"singback/internal/audio"
	"singback/internal/device"
	"singback/internal/drill"
	"singback/internal/keys"
	"singback/internal/newfile"
	"singback/internal/report"
)

// The words of --input and --output.
const (
	inputMic       = "mic"
	inputSimulated = "simulated"
	inputFiles     = "files" // not a word of the user's
	inputKeys      = "keys"  // nor this one
	outputSpeaker  = "speaker"
	outputNone     = "none"
)

// sampleRate is what devices are asked for and what the tool's own sound is
// made at, in hertz.
const sampleRate = 48000

// stage is what a drill runs on: who answers, where the sound goes, and
// whether the terminal is used as a screen.
type stage struct {
	answers drill.Answers
	keys    drill.Striking // a keyboard beside a voice; nil without one
	out     audio.Sink
	speaker bool // the sound is heard in the room
	silent  bool // it is heard nowhere, and no file keeps it
	screen  bool
	watched bool     // at a terminal, screen or not: nothing goes faster than a person
	alert   string   // that somebody else answers than the singer, or nobody hears a thing; said first
	after   string   // and at the end; "" where there is nothing of the kind
	why     string   // the reason, where there is room for it
	note    string   // what else the user should know about it
	advice  []string // what would help, a line each

	streams device.Streams // of them what is a device
	closers []io.Closer
	closed  bool
}

// close frees the devices and completes the files, the last opened first.
func (s *stage) close() error {
	if s.closed {
		return nil
	}
	s.closed = true
	var errs []error
	for i := len(s.closers) - 1; i >= 0; i-- {
		errs = append(errs, s.closers[i].Close())
	}
	return errors.Join(errs...)
}

func (s *stage) tell(w io.Writer) {
	if s.alert != "" {
		fmt.Fprintf(w, "%s (%s)\n", s.alert, s.why)
	}
	if s.note != "" {
		fmt.Fprintln(w, s.note)
	}
	for _, line := range s.advice {
		fmt.Fprintln(w, line)
	}
}

// What is said where a device is missing, first and at the end.
const (
	noMicrophone   = "No microphone was found: a simulated singer answers, not you."
	noMicrophoneAt = "No microphone was found: a simulated singer answered, not you."
	noSound        = "No sound device was found: a simulated singer answers, not you, in silence."
	noSoundAt      = "No sound device was found: a simulated singer answered, not you."
	noLoudspeaker  = "No loudspeaker was found: the drill runs in silence."
)

// The advice of one line each.
const (
	useHeadphones = "The microphone hears the loudspeaker: use headphones."
	measureAgain  = "A growing voice, as of %s: measure it again (singback calibrate)."
	offer         = "Fit this to you: singback calibrate  (or never: singback profile use none)"
)

// advise adds what would help a singer at a live microphone: headphones where
// the loudspeaker is known to leak, and the calibration, in a terminal, where
// nobody has a profile yet or a growing voice is to be measured again.
func (o *stageOptions) advise(e *env, s *stage, best *drill.Choice, style report.Style) {
	if best != nil && !s.screen {
		s.advice = append(s.advice, style.Fit(best.Fit, best.Degrees, best.Among))
	}
	if s.answers.Kind() != drill.ByMicrophone {
		return
	}
	room := o.music.known.Room
	if room != nil && room.Leaks && s.speaker {
		s.advice = append(s.advice, useHeadphones)
	}
	if o.format.value != "text" || !e.terminal(e.stdin) || !e.terminal(e.stdout) {
		return
	}
	if o.music.unasked {
		s.advice = append(s.advice, offer)
	}
	if v := o.music.known.Voice; v != nil && v.Due(e.today()) {
		s.advice = append(s.advice, fmt.Sprintf(measureAgain, v.Date))
	}
}

// openStage opens what the flags ask for. With no --input it takes the
// microphone, and the simulated singer where there is none.
func (o *stageOptions) openStage(ctx context.Context, e *env, kind string, recordings []string, p *drill.Plan) (*stage, error) {
	s := &stage{watched: o.format.value == "text" && e.terminal(e.stdin) && e.terminal(e.stdout)}
	s.screen = s.watched && e.getenv("TERM") != "dumb"
	err := o.openInput(ctx, e, s, kind, recordings, p)
	if _, simulated := s.answers.(*drill.Simulated); err == nil && o.hands && !simulated {
		err = o.withKeys(s)
	}
	if err != nil {
		s.close()
		return nil, err
	}
	if err := o.openHand(s, p); err != nil {
		s.close()
		return nil, err
	}
	if err := o.openOutput(ctx, e, s, kind, recordings); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

func (o *stageOptions) openInput(ctx context.Context, e *env, s *stage, kind string, recordings []string, p *drill.Plan) error {
	switch kind {
	case inputFiles:
		files := &files{env: e, rec: &o.rec, paths: recordings}
		s.answers = &drill.Recordings{Count: len(recordings), Open: files.open}
		return files.check()
	case inputSimulated:
		s.answers = drill.NewSimulated(p, sampleRate)
		return nil
	case inputKeys:
		return o.openKeys(s)
	case inputTyped:
		s.answers = drill.Typing{}
		return nil
	}
	src, err := s.streams.Input(ctx, o.device, sampleRate)
	switch {
	case err == nil:
		s.answers = drill.Microphone{Live: src}
		s.closers = append(s.closers, src)
	case kind == "" && o.device == "" && errors.Is(err, device.ErrNoDevice):
		s.alert, s.after, s.why = noMicrophone, noMicrophoneAt, err.Error()
		s.answers = drill.NewSimulated(p, sampleRate)
	default:
		return err
	}
	return nil
}

// openKeys opens the keyboard that answers: the one that --keys names, or the first.
func (o *stageOptions) openKeys(s *stage) error {
	path := o.keys
	if path == "" {
		var err error
		if path, err = keys.Find(); err != nil {
			return err
		}
	}
	k, err := keys.Open(path)
	if err != nil {
		return err
	}
	s.answers = drill.Keyboard{Play: k.Struck}
	s.closers = append(s.closers, k)
	return nil
}

// withKeys opens the keyboard beside what sings.
func (o *stageOptions) withKeys(s *stage) error {
	sings := s.answers
	if err := o.openKeys(s); err != nil {
		return err
	}
	s.answers = drill.Hands{Answers: sings, Keyboard: s.answers.(drill.Keyboard)}
	return nil
}

func (o *stageOptions) openOutput(ctx context.Context, e *env, s *stage, kind string, recordings []string) error {
	where, chosen := o.output, o.output != "" || o.outputDevice != ""
	if where == "" {
		where = outputSpeaker
	}
	if !chosen {
		switch s.answers.Kind() {
		case drill.ByMicrophone, drill.ByTyping, drill.ByKeys:
		default:
			if !s.watched {
				where = outputNone // nobody is listening
			}
		}
		if kind == inputFiles {
			where = outputNone
		}
	}
	switch where {
	case outputNone:
		s.out, s.silent = audio.Null{Rate: sampleRate}, true
	case outputSpeaker:
		out, err := s.streams.Output(ctx, o.outputDevice, sampleRate)
		switch {
		case err == nil:
			s.out, s.speaker = out, true
			s.closers = append(s.closers, out)
		case !chosen && errors.Is(err, device.ErrNoDevice):
			if k := s.answers.Kind(); (k == drill.ByTyping || k == drill.ByKeys) && e.terminal(e.stdin) {
				return fmt.Errorf("chords that nobody hears cannot be named: %w", err)
			}
			s.out, s.silent = audio.Null{Rate: sampleRate}, true
			if s.watched {
				s.out = silentSink{audio.Null{Rate: sampleRate}, e.wait}
			}
			if s.alert == "" {
				s.alert, s.why = noLoudspeaker, err.Error()
			} else {
				s.alert, s.after = noSound, noSoundAt
			}
		default:
			return err
		}
	default:
		if !strings.EqualFold(filepath.Ext(where), ".wav") {
			return usagef("--output: %q: want speaker, none or a file that ends in .wav", short(where))
		}
		for _, path := range recordings {
			if same(path, where) {
				return usagef("--output: %q is a recording to be judged and would be lost", short(where))
			}
		}
		f, err := e.create(where, o.force, newfile.ForAll)
		if err != nil {
			return fmt.Errorf("--output: %w", err)
		}
		out, err := audio.InFile(f.OnDisk(), where, sampleRate)
		if err != nil {
			f.Drop()
			return err
		}
		s.out = out
		s.closers = append(s.closers, soundFile{out, f})
	}
	return nil
}

// soundFile has its name once its sound is complete.
type soundFile struct {
	*audio.WAVFile
	f *newfile.File
}

func (s soundFile) Close() error {
	if err := s.WAVFile.Close(); err != nil {
		s.f.Drop()
		return err
	}
	return s.f.Keep()
}

// same tells whether two paths name one file that exists.
func same(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

// files are recordings that answer.
type files struct {
	env   *env
	rec   *recording
	paths []string
}

// check opens each recording once, so that a bad one is told before the drill
// begins.
func (f *files) check() error {
	for _, path := range f.paths {
		if isPipe(path) {
			continue // it can be read only once
		}
		src, err := f.rec.open(f.env, path)
		if err != nil {
			return err
		}
		src.Close()
	}
	return nil
}

// open opens the n-th recording, or makes ready to wait for one that comes through a
// pipe.
func (f *files) open(n int) (audio.Source, error) {
	if path := f.paths[n]; isPipe(path) {
		return &piped{env: f.env, rec: f.rec, path: path}, nil
	}
	src, err := f.rec.open(f.env, f.paths[n])
	if err != nil {
		return nil, err
	}
	return src, nil
}

// silentSink takes as long as the sound would last, so that a drill without a
// loudspeaker keeps its pace on a screen.
type silentSink struct {
	audio.Null
	wait func(context.Context, time.Duration) error
}

func (s silentSink) Write(ctx context.Context, samples []float64) error {
	return s.wait(ctx, time.Duration(len(samples))*time.Second/time.Duration(s.Rate))
}
