package cli

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/calib"
	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/store"
	"singback/internal/synth"
	"singback/pitch"
	"singback/theory"
)

// calibrateCommand holds the flags of calibrate. on are those that it shares
// with sing: where it runs.
type calibrateCommand struct {
	env        *env
	on         singOptions
	skip, only []string
	voice      string
	span       string
	name       string
	growing    bool
	widen      bool
	instrument bool
	note       string
	profile    string
	yes        bool
}

func newCalibrate(e *env) *cobra.Command {
	c := &calibrateCommand{env: e, on: singOptions{format: newFormat("text", "json")}}
	o := &c.on
	cmd := &cobra.Command{
		Use:   "calibrate [RECORDING.wav ...]",
		Short: "Measure room, microphone, voice and instrument once, and fit the drill to them",
		Long: `Calibrate takes some three minutes, once, and measures one after the other

  room        the noise when nobody sings, mains hum, fans
  level       how you reach the microphone, singing at ease
  leak        whether the microphone hears the loudspeaker, and how late
  voice       the lowest and the highest comfortable note, softly
  instrument  how your keyboard is tuned (asked for in a terminal, else with
              --instrument)

In a terminal each part waits for Enter and can be left out; after each note you
say whether it was comfortable. In a pipe, or with --yes, what is heard decides.
The voice can be stated instead: --voice "I am a tenor", --range C3-G4.

What was measured is kept for the drill (see singback profile), all at once at the
end: interrupted earlier, the old profile stays as it was. Parts that were not
measured keep their old values. Without a microphone a simulated singer answers,
and nothing is kept unless --profile FILE is given. With recordings, each answers
one part, in the order above; that of the voice goes down and up as far as is
comfortable.

` + wrapped(calib.RangeCaution, 78),
		Example: `  singback calibrate
  singback calibrate --voice "I am a tenor" --skip leak
  singback calibrate --input simulated --skip voice --format json`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: c.run,
	}
	o.rec.addFlags(cmd)
	f := cmd.Flags()
	f.StringSliceVar(&c.skip, "skip", nil, "leave out these `PARTS`: room, level, leak, voice, instrument")
	f.StringSliceVar(&c.only, "only", nil, "measure only these `PARTS`")
	f.StringVar(&c.voice, "voice", "", "state the voice instead: `VOICE`, like tenor, or a sentence; of the simulated singer too")
	f.StringVar(&c.span, "range", "", "state the comfortable range instead, like `C3-G4`")
	f.StringVar(&c.name, "name", "", "the singer's `NAME`")
	f.BoolVar(&c.growing, "growing", false, "a child's or changing voice: a shorter test, to be repeated")
	f.BoolVar(&c.widen, "widen", false, "keep the notes too that an earlier test found")
	f.BoolVar(&c.instrument, "instrument", false, "measure the instrument in a pipe too")
	f.StringVar(&c.note, "note", "", "which `NOTE` is played first, for an instrument far from 440 Hz, like A")
	f.StringVar(&c.profile, "profile", "", "the singer: `NAME`; a file to keep it in instead; or none, to keep nothing")
	f.BoolVar(&c.yes, "yes", false, "do not ask: what is heard decides")
	f.Float64Var(&o.level, "level", synth.DefaultLevel, "playback never exceeds this peak, in `DBFS`, -60 to -3")
	f.Uint64Var(&o.seed, "seed", 1, "number that draws what the simulated singer does")
	f.StringArrayVar(&o.input, "input", nil, "what answers: mic, simulated, or recordings `FILE.wav ...`")
	f.StringVar(&o.device, "device", "", "microphone: part of its `NAME` (see singback devices)")
	addForce(cmd, &o.force)
	f.StringVar(&o.output, "output", "", "where the sound goes: speaker, none or `FILE.wav`")
	f.StringVar(&o.outputDevice, "output-device", "", "loudspeaker: part of its `NAME`")
	f.Var(o.format, "format", "output: text or json")
	parts := make([]string, len(session.Parts))
	for i, p := range session.Parts {
		parts[i] = p.String()
	}
	must(cmd.RegisterFlagCompletionFunc("skip", fixed(parts...)))
	must(cmd.RegisterFlagCompletionFunc("only", fixed(parts...)))
	must(cmd.RegisterFlagCompletionFunc("voice", fixed(exercise.Voices()...)))
	must(cmd.RegisterFlagCompletionFunc("name", e.completeSingers))
	must(cmd.RegisterFlagCompletionFunc("profile", e.completeSingers))
	must(cmd.RegisterFlagCompletionFunc("input", orFile(inputMic, inputSimulated)))
	must(cmd.RegisterFlagCompletionFunc("output", orFile(outputSpeaker, outputNone)))
	must(cmd.RegisterFlagCompletionFunc("format", o.format.complete))
	return cmd
}

// wrapped breaks a text into lines of at most so many characters.
func wrapped(text string, width int) string {
	var b strings.Builder
	at := 0
	for i, w := range strings.Fields(text) {
		n := len([]rune(w))
		switch {
		case i == 0:
		case at+1+n > width:
			b.WriteByte('\n')
			at = 0
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(w)
		at += n
	}
	return b.String()
}

// errStopped is what ends the calibration on the singer's word.
var errStopped = errors.New("stopped: nothing was kept, and what was known before is as it was")

// parts reads --only and --skip.
func (c *calibrateCommand) parts(stated, terminal, recordings bool) ([]session.Part, error) {
	named := func(flag string, list []string) ([]session.Part, error) {
		var out []session.Part
		for _, s := range list {
			i := slices.IndexFunc(session.Parts, func(p session.Part) bool { return strings.EqualFold(strings.TrimSpace(s), p.String()) })
			if i < 0 {
				return nil, usagef("--%s: %q: want room, level, leak, voice or instrument", flag, short(s))
			}
			out = append(out, session.Parts[i])
		}
		return out, nil
	}
	only, err := named("only", c.only)
	if err != nil {
		return nil, err
	}
	skip, err := named("skip", c.skip)
	if err != nil {
		return nil, err
	}
	var out []session.Part
	for _, p := range session.Parts {
		wanted := slices.Contains(only, p)
		if len(only) == 0 {
			switch p {
			case session.InstrumentPart:
				wanted = c.instrument || terminal
			case session.LeakPart:
				wanted = !recordings
			default:
				wanted = true
			}
		} else if p == session.InstrumentPart && c.instrument {
			wanted = true
		}
		if !wanted || slices.Contains(skip, p) || stated && p == session.VoicePart {
			continue
		}
		out = append(out, p)
	}
	return out, nil
}

// keeping is where the profile goes, and what was known before.
type keeping struct {
	singers *store.Singers // nil where a file or nothing is written
	file    string
	there   bool
	before  calib.Profile
}

// keep finds out where to keep the profile. What cannot be read is refused, or
// has been moved aside, before anything is measured.
func (c *calibrateCommand) keep() (k keeping, err error) {
	if c.name != "" {
		if err := store.CheckName(c.name); err != nil {
			return k, usage(fmt.Errorf("--name: %w", err))
		}
	}
	k.before = calib.Profile{Version: calib.Version, Name: cmp.Or(c.name, store.DefaultName)}
	if c.profile == store.Nobody {
		return k, nil
	}
	if isFile(c.profile) {
		k.file = c.profile
		p, err := store.ReadFile(k.file)
		switch {
		case err == nil:
			k.before, k.there = p, true
			k.before.Name = cmp.Or(c.name, p.Name)
		case !errors.Is(err, fs.ErrNotExist):
			return k, fmt.Errorf("--profile: it is left alone: %w", err)
		}
		return k, nil
	}
	if c.profile != "" {
		if err := store.CheckName(c.profile); err != nil {
			return k, usage(fmt.Errorf("--profile: %w", err))
		}
		if c.name != "" && !strings.EqualFold(c.name, c.profile) {
			return k, usagef("--name %s and --profile %s: want one singer", c.name, c.profile)
		}
	}
	k.singers = c.env.singers()
	name := cmp.Or(c.name, c.profile)
	if name == "" {
		if name, err = k.singers.Current(); err != nil {
			return k, err
		}
		if name == "" || name == store.Nobody {
			name = store.DefaultName
		}
	}
	if name, k.there, err = k.singers.Find(name); err != nil {
		return k, err
	}
	k.file, k.before.Name = k.singers.Path(name), name
	if !k.there {
		return k, nil
	}
	p, err := k.singers.Load(name)
	switch {
	case errors.Is(err, store.ErrDamaged), errors.Is(err, store.ErrNewer):
		fmt.Fprintf(c.env.stderr, "%v\n", err)
		k.there = false
	case err != nil:
		return k, err
	default:
		k.before = p
	}
	return k, nil
}

// save writes the profile in one step.
func (k keeping) save(p calib.Profile) error {
	if k.singers == nil {
		return store.WriteFile(k.file, p)
	}
	if _, err := k.singers.Save(p); err != nil {
		return err
	}
	if !k.there {
		return k.singers.Use(p.Name)
	}
	return nil
}

func (c *calibrateCommand) run(cmd *cobra.Command, args []string) error {
	e, o := c.env, &c.on
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	day := e.today()
	stated, err := statedVoice(c.voice, c.span, cmd.Flags().Changed("range"), day)
	if err != nil {
		return err
	}
	sung := synth.Tenor // of the simulated singer
	asked := stated
	if stated != nil && kind == inputSimulated && slices.Contains(c.only, session.VoicePart.String()) {
		stated = nil // it is what there is to find
	}
	asking := !c.yes && o.format.value == "text" && kind != inputFiles && e.terminal(e.stdin)
	parts, err := c.parts(stated != nil, asking, kind == inputFiles)
	if err != nil {
		return err
	}
	switch {
	case len(parts) == 0 && stated == nil:
		return usagef("nothing is left to measure: --only and --skip leave out every part")
	case kind == inputFiles && len(recordings) != len(parts):
		names := make([]string, len(parts))
		for i, p := range parts {
			names[i] = p.String()
		}
		return usagef("%d recordings given, want one for each part: %s", len(recordings), strings.Join(names, ", "))
	case !(o.level >= minLevel && o.level <= maxLevel):
		return usagef("--level: %g dBFS is out of range: want %g to %g", o.level, minLevel, maxLevel)
	case o.device != "" && kind != "" && kind != inputMic:
		return usagef("--device: no microphone is used with that --input")
	case o.outputDevice != "" && o.output != "" && o.output != outputSpeaker:
		return usagef("--output-device: no loudspeaker is used with --output %s", short(o.output))
	}
	cfg := session.Calibration{Growing: c.growing, Level: o.level, On: day}
	if c.note != "" {
		n, err := theory.ParseNote(c.note)
		if err != nil {
			return usage(fmt.Errorf("--note: %w", err))
		}
		cfg.First = &n
	}
	k, err := c.keep()
	if err != nil {
		return err
	}
	if v := k.before.Voice; v != nil && v.Growing && stated == nil {
		cfg.Growing = true
	}
	a4 := theory.DefaultA4
	if i := k.before.Instrument; i != nil {
		a4 = i.A4
	}
	cfg.Tuning = theory.Tuning{A4: a4}
	if r := k.before.Room; r != nil {
		cfg.Gate, cfg.Delay = r.Gate, r.Delay
	}

	if len(parts) == 0 {
		return c.finish(k, session.Measured{}, stated, rest(nil, stated != nil), false)
	}
	ctx, stop := e.interruptible(cmd.Context())
	defer stop()
	stage, err := o.openStage(ctx, e, kind, recordings, plan{seed: o.seed})
	if err != nil {
		return err
	}
	defer stage.close()
	who := &subject{env: e, stage: stage, config: cfg, voice: asked, recordings: recordings, parts: parts, seed: o.seed, rec: &o.rec}
	_, live := stage.answers.(micAnswers)
	_, who.simulated = stage.answers.(simulated)
	if who.simulated {
		who.sing(sung)
	}
	if asking && live {
		who.listen(ctx)
	}
	var outcomes []report.CalibrationPart
	told := func(p session.Part, outcome string, why error) {
		part := report.CalibrationPart{Part: p.String(), Outcome: outcome}
		if why != nil {
			text := why.Error()
			part.Reason = &text
		}
		outcomes = append(outcomes, part)
	}
	noSound := error(nil)
	for _, p := range parts {
		if p == session.LeakPart && live && !stage.speaker {
			noSound = errors.New("the sound goes to no loudspeaker")
			continue
		}
		cfg.Parts = append(cfg.Parts, p)
	}
	stage.tell(e.stderr)
	view := calibrationView{e.stderr}
	found, err := session.Calibrate(ctx, cfg, who, stage.out, func(ev session.Event) {
		view.event(ev)
		switch ev := ev.(type) {
		case session.Found:
			told(ev.Part, "measured", nil)
		case session.LeftOut:
			told(ev.Part, "skipped", nil)
		case session.Missed:
			if !ev.Again {
				told(ev.Part, "not_measured", ev.Err)
			}
		}
	})
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		return errors.New("interrupted: nothing was kept, and what was known before is as it was")
	}
	if err == nil {
		err = stage.close()
	}
	if err != nil {
		return err
	}
	if noSound != nil {
		told(session.LeakPart, "not_measured", noSound)
	}
	outcomes = rest(outcomes, stated != nil)
	if who.simulated && kind == "" && stated != nil && k.singers != nil {
		// What was stated holds whoever sang, and is all that is kept.
		return c.finish(k, session.Measured{}, stated, rest(nil, true), false)
	}
	return c.finish(k, found, stated, outcomes, who.simulated)
}

// rest adds the parts that were stated or skipped, and puts all in order.
func rest(outcomes []report.CalibrationPart, stated bool) []report.CalibrationPart {
	var all []report.CalibrationPart
	for _, p := range session.Parts {
		part := report.CalibrationPart{Part: p.String(), Outcome: "skipped"}
		if i := slices.IndexFunc(outcomes, func(o report.CalibrationPart) bool { return o.Part == part.Part }); i >= 0 {
			part = outcomes[i]
		} else if stated && p == session.VoicePart {
			part.Outcome = "stated"
		}
		all = append(all, part)
	}
	return all
}

// finish keeps what was found and says it.
func (c *calibrateCommand) finish(k keeping, found session.Measured, stated *calib.Voice, outcomes []report.CalibrationPart, simulated bool) error {
	e, day := c.env, c.env.today()
	before := k.before
	if simulated && k.singers != nil {
		before = calib.Profile{Version: calib.Version, Name: store.DefaultName}
	}
	p := merged(before, found, stated, c.widen, day)
	if stated != nil && c.growing {
		p.Voice.Growing = true
	}
	record := report.Calibration{
		Schema: report.Schema, Simulated: simulated, Parts: outcomes,
		Noise: report.NewNoise(found.Noise), Ease: report.NewEase(found.Ease),
		Echo: report.NewEcho(found.Echo), Tuned: report.NewTuned(found.Tuned), Published: report.NewPublished(),
	}
	something := found != session.Measured{} || stated != nil
	var advice []calib.Advice
	if found.Noise != nil || found.Ease != nil || found.Echo != nil {
		advice = calib.Advise(calib.NewRoom(day, found.Noise, found.Ease, found.Echo))
		if found.Noise == nil && p.Room != nil {
			advice = calib.Advise(*p.Room)
		}
	}
	for _, o := range outcomes {
		if o.Outcome != "not_measured" {
			continue
		}
		switch o.Part {
		case session.RoomPart.String():
			advice = append(advice, calib.BeSilent)
		case session.InstrumentPart.String():
			if strings.Contains(*o.Reason, calib.ErrDetuned.Error()) {
				advice = append(advice, calib.Retune)
			}
		}
	}
	record.Advice = report.NewAdvice(advice)
	if v := p.Voice; v != nil {
		if from, to, ok := v.Again(); ok {
			record.Again = &report.AgainRecord{From: from.String(), To: to.String()}
		}
	}
	current := false
	if something && k.file != "" && (!simulated || k.singers == nil) {
		before := ""
		if k.singers != nil {
			before, _ = k.singers.Current()
		}
		if err := k.save(p); err != nil {
			return err
		}
		record.Saved = &k.file
		if k.singers != nil {
			now, err := k.singers.Current()
			if err != nil {
				return err
			}
			current = now == p.Name
			e.sings(before)
		}
	}
	record.Profile = report.NewProfile(p, k.file, current)
	if record.Saved == nil {
		record.Profile.File = ""
	}
	var err error
	if c.on.format.value == "json" {
		enc := json.NewEncoder(e.stdout)
		enc.SetIndent("", "  ")
		err = enc.Encode(record)
	} else {
		_, err = fmt.Fprint(e.stdout, report.Style{ASCII: e.ascii()}.Calibration(record))
	}
	if err == nil && !something {
		err = errors.New("nothing could be measured, and nothing was kept")
	}
	return err
}

// merged is what is known now: what was found, and before that the old values.
// Of the room at least the noise must be known.
func merged(p calib.Profile, m session.Measured, stated *calib.Voice, widen bool, day calib.Date) calib.Profile {
	p.Made = day
	old := p.Room
	switch {
	case m.Noise != nil:
		r := calib.NewRoom(day, m.Noise, m.Ease, m.Echo)
		if old != nil && m.Ease == nil {
			r.Voice, r.Peak, r.Clipped, r.Gate = old.Voice, old.Peak, old.Clipped, m.Noise.Gate(old.Voice)
		}
		if old != nil && m.Echo == nil {
			r.LeakTried, r.Leaks, r.Leak, r.Delay = old.LeakTried, old.Leaks, old.Leak, old.Delay
		}
		p.Room = &r
	case old != nil && (m.Ease != nil || m.Echo != nil):
		r, n := *old, calib.NewRoom(day, nil, m.Ease, m.Echo)
		r.Date = day
		if m.Ease != nil {
			r.Voice, r.Peak, r.Clipped = n.Voice, n.Peak, n.Clipped
		}
		if m.Echo != nil {
			r.LeakTried, r.Leaks, r.Leak, r.Delay = true, n.Leaks, n.Leak, n.Delay
		}
		p.Room = &r
	}
	switch {
	case stated != nil:
		p.Voice = stated
	case m.Voice != nil:
		v := *m.Voice
		if p.Voice != nil {
			v.Kind = p.Voice.Kind
			if widen {
				v = v.Widened(p.Voice.Comfortable)
			}
		}
		p.Voice = &v
	}
	if m.Tuned != nil {
		i := m.Tuned.Instrument(day)
		p.Instrument = &i
	}
	return p
}

// subject is the singer at the microphone, in recordings, or simulated.
type subject struct {
	env        *env
	stage      *stage
	config     session.Calibration
	rec        *recording
	recordings []string
	parts      []session.Part
	lines      chan string // what the singer types; nil where nobody is asked
	cautioned  bool

	simulated bool
	seed      uint64
	voice     *calib.Voice // what the simulated singer is
	model     synth.VoiceType
	asked     uint64
}

// listen reads what the singer types.
func (s *subject) listen(ctx context.Context) {
	s.lines = make(chan string)
	go func() {
		defer close(s.lines)
		for in := bufio.NewScanner(s.env.stdin); in.Scan(); {
			select {
			case s.lines <- strings.ToLower(strings.TrimSpace(in.Text())):
			case <-ctx.Done():
				return
			}
		}
	}()
}

// ask asks and waits for a line; ok is false where nobody can be asked.
func (s *subject) ask(ctx context.Context, question string) (answer string, ok bool, err error) {
	if s.lines == nil {
		return "", false, nil
	}
	fmt.Fprint(s.env.stderr, question)
	select {
	case answer, ok = <-s.lines:
		if !ok {
			fmt.Fprintln(s.env.stderr)
		}
		return answer, ok, nil
	case <-ctx.Done():
		fmt.Fprintln(s.env.stderr)
		return "", false, ctx.Err()
	}
}

// instructions say what happens in a part.
var instructions = map[session.Part]string{
	session.RoomPart:       "Room: be silent for four seconds.",
	session.LevelPart:      "Level: sing anything, at ease, for four seconds.",
	session.LeakPart:       "Loudspeaker: a short test sound is played eight times; be silent.",
	session.VoicePart:      "Voice: sing the notes softly, and hold each for more than a second.",
	session.InstrumentPart: "Instrument: play A, or any note, on your keyboard, then others, one at a time, each for a second.",
}

func (s *subject) Ready(ctx context.Context, p session.Part) (bool, error) {
	say := func(text string) { fmt.Fprintln(s.env.stderr, wrapped(text, 79)) }
	sounds := p == session.LeakPart || p == session.VoicePart
	if sounds && !s.cautioned {
		s.cautioned = true
		say(calib.LevelCaution)
	}
	if p == session.VoicePart {
		say(calib.RangeCaution)
		if s.config.Growing {
			say(calib.GrowingCaution)
		}
	}
	say(instructions[p])
	answer, ok, err := s.ask(ctx, "Enter: begin; s: leave it out; q: stop and keep nothing: ")
	switch {
	case err != nil:
		return false, err
	case ok && strings.HasPrefix(answer, "q"):
		return false, errStopped
	}
	return !ok || !strings.HasPrefix(answer, "s"), nil
}

func (s *subject) Word(ctx context.Context, ask calib.RangeAsk, notes []pitch.Note) (calib.Word, error) {
	if s.simulated {
		if ask.Step != calib.AtEase && !s.reaches(ask.Pitch) {
			return calib.Strain, nil
		}
		return calib.Unsaid, nil
	}
	question := "Enter: comfortable; s: strained; q: enough: "
	if len(notes) == 0 {
		question = "Nothing was heard. " + question
	}
	answer, ok, err := s.ask(ctx, question)
	switch {
	case err != nil || !ok:
		return calib.Unsaid, err
	case strings.HasPrefix(answer, "s"):
		return calib.Strain, nil
	case strings.HasPrefix(answer, "q"):
		return calib.Stop, nil
	}
	return calib.Comfortable, nil
}

func (s *subject) Done() bool {
	select {
	case _, ok := <-s.lines:
		return ok
	default:
		return false
	}
}

func (s *subject) Source(p session.Part, ask calib.RangeAsk, hz float64) (audio.Source, bool, bool, error) {
	switch a := s.stage.answers.(type) {
	case micAnswers:
		for p == session.VoicePart { // what was typed before was no word about this note
			select {
			case _, ok := <-s.lines:
				if ok {
					continue
				}
			default:
			}
			break
		}
		return a.src, true, false, nil
	case *fileAnswers:
		src, err := s.rec.open(s.env, s.recordings[slices.Index(s.parts, p)])
		return src, false, true, err
	}
	s.asked++
	src := audio.Source(audio.NewSamples(sampleRate, s.sound(p, ask, hz)))
	if s.stage.screen {
		src = audio.NewPaced(src, s.env.wait)
	}
	return src, false, false, nil
}

// sing makes the simulated singer the voice that was stated, or of a kind.
func (s *subject) sing(otherwise synth.VoiceType) {
	s.model = otherwise
	if s.voice == nil {
		r, err := voiceRange(otherwise.String())
		must(err)
		s.voice = &calib.Voice{Comfortable: r}
	}
	middle := (s.voice.Comfortable.Low + s.voice.Comfortable.High) / 2
	switch {
	case s.voice.Growing || s.config.Growing:
		s.model = synth.Child
	case middle < 56:
		s.model = synth.Bass
	case middle < 61:
		s.model = synth.Tenor
	case middle < 68:
		s.model = synth.Alto
	default:
		s.model = synth.Soprano
	}
}

func (s *subject) reaches(midi int) bool {
	return midi >= s.voice.Comfortable.Low && midi <= s.voice.Comfortable.High
}

// Of the simulated room and instrument: the noise in dBFS, and A4 in hertz.
const (
	simulatedFloor = 0.0003
	simulatedA4    = 442.0
)

// sound is what the simulated singer, or the instrument, lets hear in a quiet
// room.
func (s *subject) sound(p session.Part, ask calib.RangeAsk, hz float64) []float64 {
	rng := rand.New(rand.NewPCG(s.seed, s.asked))
	at := func(midi int) float64 { return s.config.Tuning.A4 * theory.Shift(1, 100*float64(midi-69)) }
	middle := s.voice.Comfortable.Low + 2*(s.voice.Comfortable.High-s.voice.Comfortable.Low)/5
	model := synth.Voice{SampleRate: sampleRate, Type: s.model}
	var x []float64
	switch p {
	case session.RoomPart, session.LeakPart:
		x = make([]float64, 4*sampleRate)
	case session.LevelPart:
		var song []synth.Sung
		for _, step := range []int{0, 2, 4, 2, 0} {
			song = append(song, synth.NewSung(at(middle+step), .8))
		}
		x, _ = model.Sing(song, s.seed)
	case session.VoicePart:
		if ask.Step == calib.AtEase {
			hz = at(middle)
		} else if !s.reaches(ask.Pitch) {
			x = make([]float64, sampleRate)
			break
		}
		note := synth.NewSung(theory.Shift(hz, 12*rng.NormFloat64()), 1.8)
		note.Level = -26
		x, _ = model.Sing([]synth.Sung{synth.Rest(.4), note, synth.Rest(.6)}, s.seed+s.asked)
	case session.InstrumentPart:
		var phrase synth.Phrase
		for i, midi := range []int{69, 60, 64, 67, 62, 65} {
			phrase = append(phrase, synth.Sound{Hz: simulatedA4 * theory.Shift(1, 100*float64(midi-69)), Start: .3 + 1.2*float64(i), Duration: 1})
		}
		x = synth.Keyboard{SampleRate: sampleRate, Level: -18}.Render(phrase)
	}
	for i, v := range synth.Pink(len(x), s.seed^s.asked) {
		x[i] += simulatedFloor * v
	}
	return x
}
