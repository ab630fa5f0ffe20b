package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/device"
	"singback/internal/fold"
	"singback/internal/listen"
	"singback/internal/newfile"
	"singback/internal/plain"
	"singback/internal/synth"
	"singback/internal/takedown"
	"singback/internal/takedown/words"
	"singback/theory"
)

// live takes a song down that is sung now.
func (o *followOptions) live(ctx context.Context, e *env, w following) error {
	kind := ""
	if len(o.input) > 0 {
		kind = o.input[0]
	}
	if err := o.soundFlags.check(kind); err != nil {
		return err
	}
	switch {
	case o.beats != "":
		return usagef("--beats: it is for a recording; live, tap the space bar")
	case o.cmd.Flags().Changed("first-beat"):
		return usagef("--first-beat: it is for a recording; live, the click begins by itself")
	case o.output != "" && o.output != outputSpeaker && o.output != outputNone:
		return usagef("--output: %q: want speaker or none", short(o.output))
	}
	if err := o.forTake(e, &w, false); err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	if kind == inputSimulated {
		return o.simulated(ctx, e, w)
	}
	src, err := device.OpenInput(ctx, o.device, sampleRate)
	switch {
	case err == nil:
	case kind == "" && o.device == "" && errors.Is(err, device.ErrNoDevice):
		fmt.Fprintf(e.stderr, "No microphone was found: a simulated singer sings, not you. (%v)\n", err)
		return o.simulated(ctx, e, w)
	default:
		return err
	}
	defer src.Close()
	return o.sung(ctx, e, w, src, nil)
}

// sung takes down what a running source hears. beats are those of who is simulated; nil:
// they are tapped or clicked.
func (o *followOptions) sung(ctx context.Context, e *env, w following, src audio.Source, beats *takedown.Beats) error {
	l := &follower{o: o, e: e, w: w, src: src, ctx: ctx, ended: make(chan struct{}), click: beats, simulated: beats != nil}
	return l.takeDown()
}

// takeDown hears the song and writes what it is.
func (l *follower) takeDown() error {
	p, err := l.follow()
	if err != nil {
		return err
	}
	if l.failed != nil {
		l.say("The microphone failed; what was heard before is taken down. (%v)", l.failed)
	}
	how := taking{from: l.confirmed, beats: l.click}
	if l.home != nil && l.confirmed > 0 {
		how.until = l.home.Offset // the note that was told and confirmed
	}
	if how.beats == nil && len(l.taps) > 0 {
		if b, err := takedown.Tapped(l.w.meter, l.taps); err == nil {
			how.beats = &b
		} else {
			l.say("The beat is left out: %v.", err)
		}
	}
	return l.o.finish(l.e, l.w, p, how)
}

// follow hears the song to its end. A terminal is as it was then.
func (l *follower) follow() (p grade.Performance, err error) {
	if l.o.tempo > 0 && !l.simulated && l.o.output != outputNone {
		out, err := device.OpenOutput(l.ctx, l.o.outputDevice, sampleRate)
		if err != nil {
			fmt.Fprintf(l.e.stderr, "No click is heard: %v.\n", err)
		} else {
			l.out = out
			defer out.Close()
		}
	}
	if l.o.keep != "" {
		if err := l.openKept(); err != nil {
			return p, err
		}
	}
	if l.e.raw != nil && l.e.terminal(l.e.stdin) && l.e.terminal(l.e.stderr) {
		if undo := l.e.raw(l.e.stdin); undo != nil {
			l.raw = true
			defer func() {
				l.mu.Lock()
				defer l.mu.Unlock()
				l.raw = false
				undo()
			}()
			go l.keys()
		}
	}
	if err := listen.Freshly(l.ctx, l.src); err != nil {
		return p, err
	}
	l.mu.Lock()
	l.begin()
	l.mu.Unlock()
	// The source ends when the singer does, and the end is read as that of a recording.
	p, err = listen.Song(context.WithoutCancel(l.ctx), l, l.w.hearing, l.o.deep(), l.told)
	l.end()
	return p, errors.Join(err, l.closeKept())
}

// follower follows somebody who sings now. It is the source that is read, and ends when
// the singer does.
type follower struct {
	o         *followOptions
	e         *env
	w         following
	src       audio.Source
	ctx       context.Context
	raw       bool // the terminal gives keys as they are typed
	simulated bool // nobody is asked

	once  sync.Once
	ended chan struct{} // closed when the singer has ended

	mu        sync.Mutex
	read      int64     // samples that were heard
	at        time.Time // when the last of them came
	home      *takedown.Home
	confirmed float64 // seconds at which home was; 0: not yet
	taps      []float64
	click     *takedown.Beats
	out       audio.Sink         // where the click sounds; nil: nowhere
	stop      context.CancelFunc // of the click
	clicking  sync.WaitGroup
	failed    error // of the microphone

	keeping *audio.WAVFile
	path    string
}

// SampleRate is that of what is heard.
func (l *follower) SampleRate() int { return l.src.SampleRate() }

// Close closes what is heard.
func (l *follower) Close() error { return l.src.Close() }

// Read reads on, until the singer has ended.
func (l *follower) Read(_ context.Context, dst []float64) (n int, lost int64, err error) {
	select {
	case <-l.ended:
		return 0, 0, io.EOF
	default:
	}
	n, lost, err = l.src.Read(l.ctx, dst)
	if err != nil {
		if !errors.Is(err, io.EOF) && l.ctx.Err() == nil {
			l.failed = err
		}
		return 0, 0, io.EOF
	}
	if l.keeping != nil {
		if lost > 0 {
			err = l.keeping.Write(l.ctx, make([]float64, min(lost, int64(l.SampleRate()))))
		}
		if err = errors.Join(err, l.keeping.Write(context.WithoutCancel(l.ctx), dst[:n])); err != nil {
			l.failed = fmt.Errorf("--keep: %w", err)
			l.keeping = nil
		}
	}
	l.mu.Lock()
	l.read, l.at = l.read+int64(n)+lost, l.e.clock()
	l.mu.Unlock()
	return n, lost, nil
}

// now is this moment in seconds of what is heard. Sound comes in blocks: since the
// last one the clock goes on.
func (l *follower) now() float64 {
	since := min(max(l.e.clock().Sub(l.at).Seconds(), 0), 0.25)
	return float64(l.read)/float64(l.SampleRate()) + since
}

// say writes a line for the singer.
func (l *follower) say(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if l.raw { // the terminal does not go back to the left by itself
		text = fold.Text(text, l.e.width(l.e.stderr)) + "\n"
		fmt.Fprint(fold.Under(plain.Around(l.e.stderr)), strings.ReplaceAll(text, "\n", "\r\n"))
		return
	}
	fmt.Fprintln(l.e.stderr, text)
}

// begin tells what to do first.
func (l *follower) begin() {
	switch {
	case l.simulated:
	case l.o.home != homeFirst:
		l.goOn(0)
	case l.raw:
		l.say("Put on headphones. %s home, do, and hold it; q ends.", l.verb("Sing", "Play"))
	default:
		l.say("Put on headphones. %s home, do, hold it for a second, and stop.", l.verb("Sing", "Play"))
	}
}

// verb is what the singer, or player, does.
func (l *follower) verb(sing, play string) string {
	if l.o.by == byPlaying {
		return play
	}
	return sing
}

// told takes in a note that has ended.
func (l *follower) told(n grade.Sung) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.home == nil && l.o.home == homeFind {
		l.say("%7.1f s  %s", n.Onset, words.HomeText(l.w.words, takedown.Home{Cents: n.Cents}, l.o.a4))
		return
	}
	if l.home == nil || l.o.home == homeFirst && l.raw && !l.simulated && l.confirmed == 0 {
		l.offered(n)
		return
	}
	if n.Offset-n.Onset < 0.1 || n.Onset < l.confirmed {
		return
	}
	key := theory.Key{}
	if l.w.key != nil {
		key = *l.w.key
	} else if l.w.mode != nil {
		key = l.home.Key(l.o.a4, *l.w.mode)
	}
	d, off := key.Nearest(theory.Cents(n.Cents - l.home.Cents))
	l.say("%7.1f s  %-4s %s", n.Onset, l.w.words.Degree(key, d), words.Cents(off))
}

// offered takes in a note that may be home.
func (l *follower) offered(n grade.Sung) {
	if n.Offset-n.Onset < 0.7 {
		return
	}
	l.home = &takedown.Home{Cents: n.Cents, Onset: n.Onset, Offset: n.Offset}
	text := words.HomeText(l.w.words, *l.home, l.o.a4)
	if l.raw && !l.simulated {
		l.say("Home: %s. Enter: that is it. Or %s it again.", text, l.verb("sing", "play"))
		return
	}
	l.say("Home: %s.", text)
	if !l.simulated {
		l.goOn(0)
	}
}

// goOn begins the song. It is called with what is heard locked, or before it is.
func (l *follower) goOn(confirmed float64) {
	l.confirmed = confirmed
	if l.o.home == homeKey && l.home == nil {
		l.home = &takedown.Home{Cents: 100 * float64(theory.Pitch{Note: l.w.key.Tonic, Octave: 3}.MIDI())}
	}
	ends := "An interrupt (Ctrl-C) ends."
	if l.raw {
		ends = "Enter or q ends."
	}
	if l.o.tempo > 0 {
		l.say("Now %s along: a click counts one bar in. %s", l.verb("sing", "play"), ends)
		l.startClick()
		return
	}
	taps := ""
	if l.raw {
		taps = "Space: tap each beat, from the first of a bar on. "
	}
	l.say("Now the record: %s the %s along. %s%s", l.verb("sing", "play"), l.o.line, taps, ends)
}

// startClick has the beat click, from now on, one bar before the song.
func (l *follower) startClick() {
	beat := 60 / l.o.tempo
	bar := beat * float64(l.w.meter.Pulses())
	b := takedown.Steady(l.w.meter, l.o.tempo, l.now()+bar, l.now()+2*bar)
	l.click = &b
	if l.out == nil {
		return
	}
	ctx, stop := context.WithCancel(l.ctx)
	l.stop = stop
	k := synth.NewKeyboard(l.out.SampleRate())
	k.Level = l.o.loudness
	var beats []synth.Beat
	for i := range l.w.meter.Pulses() {
		beats = append(beats, synth.Beat{At: float64(i) * beat, Strong: i == 0, Half: i == 2 && l.w.meter.Pulses() == 4})
	}
	clicks := k.Metronome(beats, bar)
	block := make([]float64, k.SampleRate/10)
	l.clicking.Go(func() {
		for at := int64(0); ; at += int64(len(block)) {
			clicks.Fill(block, at)
			if l.out.Write(ctx, block) != nil {
				return
			}
		}
	})
}

// end is called when everything was heard.
func (l *follower) end() {
	l.finish()
	if l.stop != nil {
		l.stop()
	}
	l.clicking.Wait()
}

// finish has the song end.
func (l *follower) finish() { l.once.Do(func() { close(l.ended) }) }

// Keys that end, as a terminal sends them.
const (
	keyInterrupt = 3
	keyEnd       = 4
)

// keys reads what is typed.
func (l *follower) keys() {
	buf := make([]byte, 16)
	for {
		n, err := l.e.stdin.Read(buf)
		for _, b := range buf[:n] {
			l.key(b)
		}
		if err != nil {
			return
		}
	}
}

// key does what a key is for.
func (l *follower) key(b byte) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch b {
	case ' ':
		if l.click == nil && (l.confirmed > 0 || l.o.home != homeFirst) {
			l.taps = append(l.taps, l.now())
		}
	case '\r', '\n':
		switch {
		case l.simulated || l.confirmed > 0 || l.o.home != homeFirst:
			l.finish()
		case l.home == nil:
			l.say("No home was heard yet: %s do and hold it for a second.", l.verb("sing", "play"))
		default:
			l.goOn(l.now())
		}
	case 'q', 'Q', keyInterrupt, keyEnd:
		l.finish()
	}
}

// openKept begins the file of --keep.
func (l *follower) openKept() error {
	if err := os.MkdirAll(l.o.keep, 0o777); err != nil {
		return fmt.Errorf("--keep: %w", err)
	}
	for n := 1; ; n++ {
		path := filepath.Join(l.o.keep, fmt.Sprintf("follow-%d.wav", n))
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if errors.Is(err, os.ErrExist) {
			continue
		}
		if err != nil {
			return fmt.Errorf("--keep: %w", newfile.PathError(path, err))
		}
		l.path = path
		l.keeping, err = audio.InFile(f, path, l.SampleRate())
		return err
	}
}

// closeKept ends it.
func (l *follower) closeKept() error {
	if l.keeping == nil {
		return nil
	}
	if err := l.keeping.Close(); err != nil {
		return fmt.Errorf("--keep: %w", err)
	}
	l.say("Kept: %s", l.path)
	return nil
}
