package drill

import (
	"cmp"
	"fmt"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/synth"
	"singback/theory"
)

// Flags is where options are defined, each with its word, what holds without it, and
// its help: the flags of a command, or the words of an address. The flag sets of the
// standard library and of pflag are Flags. A word in backquotes is what help calls the
// value.
type Flags interface {
	StringVar(p *string, name, value, usage string)
	IntVar(p *int, name string, value int, usage string)
	Uint64Var(p *uint64, name string, value uint64, usage string)
	Float64Var(p *float64, name string, value float64, usage string)
	BoolVar(p *bool, name string, value bool, usage string)
}

// What dictation asks by itself.
const (
	usualBass      = "do sol fa"
	usualQualities = "maj min"
)

// Hidden returns the words of options that help does not show.
func Hidden(o Options) []string {
	if h, ok := o.(interface{ Hidden() []string }); ok {
		return h.Hidden()
	}
	return nil
}

// Hidden returns what series and echo refuse, and say why.
func (*Series) Hidden() []string { return []string{"octave"} }

// Hidden returns what does not matter to chords.
func (*Dictation) Hidden() []string { return []string{"octave", "voice"} }

// TuningHelp is what the option for the tuning says.
const TuningHelp = "`SYSTEM` of tuning: equal, just (also \"just re=10/9 te=16/9\"), pythagorean"

// NamesHelp is what the option for names says.
func NamesHelp() string {
	var names []string
	for _, n := range theory.Namings() {
		names = append(names, n.String())
	}
	return "what degrees are called, a `NAMING`: " + strings.Join(names, ", ")
}

// VoiceHelp is what the option for the voice says.
func VoiceHelp() string { return "the `VOICE`: " + strings.Join(exercise.Voices(), ", ") }

// AddFlags defines tuning, names, voice and octave. What a key may be differs from
// drill to drill.
func (m *Music) AddFlags(f Flags) { m.addFlags(f, "") }

// addFlags does so; names is what else the names may be.
func (m *Music) addFlags(f Flags, names string) {
	f.Float64Var(&m.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&m.Tuning, "tuning", theory.Equal.String(), TuningHelp)
	f.StringVar(&m.Names, "names", theory.Movable.String(), NamesHelp()+names)
	f.StringVar(&m.Voice, "voice", "", VoiceHelp()+" (else that of the profile)")
	f.IntVar(&m.Octave, "octave", 0, "the `OCTAVE` of the tonic, where 4 begins at middle C")
}

// AddFlags defines how it is asked.
func (o *Manner) AddFlags(f Flags) {
	o.addHeard(f)
	AddSound(f, &o.Sound)
	o.Window = exercise.DefaultWindow()
	f.Float64Var(&o.Think, "think", 1, "`SECONDS` to hear the note inwardly before the microphone is heard, 0 to 30")
	f.Float64Var(&o.Window.Hold, "hold", o.Window.Hold, "`SECONDS` after which a held note is an answer")
	f.Float64Var(&o.Window.Timeout, "timeout", o.Window.Timeout, "`SECONDS` to wait for an answer from the microphone")
	f.StringVar(&o.Retry, "retry", "ask", "`WHEN` there is a second attempt after a miss: ask (in a terminal), always, never")
	addThen(f, &o.Then)
}

// addHeard defines what sounds.
func (o *Manner) addHeard(f Flags) {
	addSetting(f, &o.Setting, synth.ByCadence)
	f.BoolVar(&o.Compare, "compare", true, "after each answer sound what was right")
	AddLoudness(f, &o.Loudness)
	AddInstrument(f, &o.Instrument, synth.Piano)
}

func addSetting(f Flags, p *string, value synth.KeySetting) {
	f.StringVar(p, "set", value.String(), "the `WAY` the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
}

// AddLoudness defines how loud it is.
func AddLoudness(f Flags, lufs *float64) {
	f.Float64Var(lufs, "loudness", synth.DefaultLevel, "the sound has this loudness, in `LUFS`, -60 to -14; the default is quiet, 7 or more under music that is streamed")
}

// AddInstrument defines what plays what is heard.
func AddInstrument(f Flags, p *string, usual synth.Instrument) {
	f.StringVar(p, "instrument", usual.String(), "the `INSTRUMENT` that plays what is heard: "+strings.Join(synth.InstrumentNames(), ", "))
}

func addThen(f Flags, p *string) {
	f.StringVar(p, "then", "", "`WHAT` comes once it was sung: play, on a MIDI keyboard or an instrument that the microphone hears")
}

func addKeyEvery(f Flags, p *int) {
	f.IntVar(p, "set-every", 5, "set the key again after this `NUMBER` of questions; 0: only at the start")
}

func addTolerance(f Flags, p *float64, value float64) {
	f.Float64Var(p, "tolerance", value, "how many `CENTS` off are still right, 5 to 50")
}

func addSeed(f Flags, p *uint64, what string) {
	f.Uint64Var(p, "seed", 0, "number that draws the "+what+"; the same number, the same "+what)
}

// AddFlags defines the options, those of Music too, which may be nil.
func (o *Sing) AddFlags(f Flags) {
	o.Music = cmp.Or(o.Music, &Music{})
	f.StringVar(&o.Music.Key, "key", "C major", "the `KEY`, like \"Ab major\", f#m or \"D dorian\"; random, or best for the voice (major, minor)")
	o.Music.AddFlags(f)
	o.Manner.AddFlags(f)
	f.StringVar(&o.Degrees, "degrees", "all", "the `DEGREES` asked for, like \"do mi sol\" or 1-5; all, chromatic, triad")
	f.StringVar(&o.From, "from", "", "sound one of these `DEGREES` first, like la or \"do sol\"; any")
	f.IntVar(&o.Count, "count", 10, "how many questions; with recordings, as many as there are")
	addKeyEvery(f, &o.KeyEvery)
	addTolerance(f, &o.Tolerance.Cents, exercise.DefaultTolerance)
	f.BoolVar(&o.Tolerance.StrictOctave, "strict-octave", false, "only the octave asked for is right (see --voice, --octave)")
	o.Inner.addFlags(f)
	addSeed(f, &o.Seed, "questions")
}

// AddFlags defines the options; those of series and echo differ.
func (o *Series) AddFlags(f Flags) {
	o.Music = cmp.Or(o.Music, &Music{})
	f.StringVar(&o.Music.Key, "key", "", "the `KEY`, like \"Ab major\" or f#m (else one of the level's)")
	o.Music.addFlags(f, "; "+noNames+" shows none")
	f.IntVar(&o.Level, "level", 1, "`LEVEL` of the melodies, 1 to 7 (see singback melody)")
	f.IntVar(&o.Count, "count", 3, "how many melodies; with recordings, as many as there are")
	f.Float64Var(&o.Tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (else the melody's)")
	addTolerance(f, &o.Tolerance, grade.DefaultRules().Tolerance)
	f.BoolVar(&o.StrictOctave, "strict-octave", false, "only the octave asked for is right: the one that is written")
	AddLoudness(f, &o.Loudness)
	AddInstrument(f, &o.Instrument, synth.Piano)
	AddSound(f, &o.Sound)
	o.Company.addFlags(f)
	addThen(f, &o.Then)
	addSeed(f, &o.Seed, "melodies")
	f.BoolVar(&o.Click, "click", false, "the beat goes on clicking while you sing; use headphones")
	AddCountIn(f, &o.CountIn, countClick)
	if o.Echo {
		addSetting(f, &o.Setting, synth.ByTonic)
		f.IntVar(&o.Notes, "notes", 4, "how many notes a phrase has, 2 to 7")
		f.Float64Var(&o.Gap, "gap", 1, "`SECONDS` of silence before you sing, 0 to 60")
		return
	}
	addSetting(f, &o.Setting, synth.ByCadence)
	f.Float64Var(&o.Study, "study", 30, "`SECONDS` to read a melody in silence, 0 to 600")
	f.BoolVar(&o.Hear, "hear", false, "hear the melody before you sing it")
	f.StringVar(&o.SilentBars, "silent-bars", "", "fall silent in these `BARS`, hear them inwardly and sing on, like 2 or 2,4-5; any")
	f.StringVar(&o.Degrees, "degrees", "", "the `DEGREES` asked for, one after the other, in place of a melody; scale goes up and down")
	f.BoolVar(&o.Free, "free", false, "your own tempo: no count-in")
	f.BoolVar(&o.Cursor, "cursor", false, "show while you sing which degree is heard (in a terminal)")
}

// AddFlags defines the options.
func (o *Dictation) AddFlags(f Flags) {
	o.Music = cmp.Or(o.Music, &Music{})
	f.StringVar(&o.Music.Key, "key", "C major", "the `KEY`, like \"Ab major\" or f#m; random")
	o.Music.AddFlags(f)
	o.Manner.addHeard(f)
	o.Manner.Window = exercise.DefaultWindow()
	f.StringVar(&o.Of, "of", "bass", "`WHAT` is to be named: bass, quality, or progression (bass, qualities, then the chords)")
	f.StringVar(&o.Degrees, "degrees", usualBass, "the `DEGREES` asked for, in the bass; all, chromatic; of a progression those on which a chord stands (else any)")
	f.StringVar(&o.Qualities, "qualities", usualQualities, "the `QUALITIES` that chords may have")
	f.StringVar(&o.Answer, "answer", ByName, "the `WAY` you answer: name (you type it), sing the bass back, or play it; of a progression one or three: sing,name,play")
	f.StringVar(&o.Style, "style", "", StyleHelp())
	f.Float64Var(&o.Manner.Think, "think", 1, "`SECONDS` to hear the note inwardly before the microphone is heard, 0 to 30")
	addThen(f, &o.Manner.Then)
	f.IntVar(&o.Length, "length", 1, fmt.Sprintf("how many chords are heard in one question, 1 to %d (of a progression 4, unless said)", compose.MaxDictation))
	f.IntVar(&o.Count, "count", 10, "how many questions")
	addKeyEvery(f, &o.KeyEvery)
	addSeed(f, &o.Seed, "questions")
}

// AddFlags defines the options. The course says in which key.
func (o *Today) AddFlags(f Flags) {
	o.Music = cmp.Or(o.Music, &Music{})
	o.Music.AddFlags(f)
	o.Manner.AddFlags(f)
	f.Float64Var(&o.Minutes, "minutes", 0, "how many `MINUTES` at most, 1 to 30 (else what the course says)")
	f.Float64Var(&o.Singing, "singing", practice.DefaultSung, "end after so many `MINUTES` of singing in a day")
	f.StringVar(&o.Feedback, "feedback", "fading", "how `MUCH` you are told: fading, full, none")
	f.BoolVar(&o.Guess, "guess", true, "ask first, now and then, whether it was flat, right or sharp (in a terminal)")
	f.StringVar(&o.Answer, "answer", ByName, "the `WAY` you answer: name what is heard (you type it), sing the bass back, or play it")
	f.Float64Var(&o.Study, "study", 20, "`SECONDS` to read a melody in silence, 0 to 600")
	addSeed(f, &o.Seed, "questions")
}
