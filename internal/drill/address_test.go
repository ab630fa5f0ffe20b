package drill

import (
	"errors"
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/plain"
	"singback/internal/session"
	"singback/theory"
)

// The flag sets of the standard library define options, too.
var _ Flags = (*flag.FlagSet)(nil)

// others are commands of the page that are no drills.
var others = []string{"calibrate", "progress", "melody", "key", "chords", "record", "help"}

// readAddress reads an address of a drill and plans it.
func readAddress(address string) (Address, *Plan, error) {
	a, err := ReadAddress(address, others...)
	if err != nil || a.Drill == nil {
		return a, nil, err
	}
	if o, ok := a.Drill.(*Today); ok {
		o.Course, o.Practice, o.Start, o.Typed = course.BuiltIn(), &practice.Practice{}, began, true
	}
	p, err := a.Drill.Plan()
	return a, p, err
}

func TestAddressOfADrill(t *testing.T) {
	a, p, err := readAddress("#sing?key=Eb&degrees=la&count=1&seed=7")
	if err != nil {
		t.Fatal(err)
	}
	o := a.Drill.(*Sing)
	if a.Command != "sing" || a.By != "" || o.Count != 1 || o.Seed != 7 || p.Item.Key.ASCII() != "Eb major" || p.Seed != 7 {
		t.Errorf("%+v, %+v", a, o)
	}
	if items := o.Items(); len(items) != 1 || (items[0].Asked != theory.Degree{Step: 6}) {
		t.Errorf("asks %+v", items)
	}
	if !a.Said("seed") || a.Said("from") || !o.Music.said("key") || o.Music.said("a4") {
		t.Error("said otherwise")
	}
	// What is not said is what the command line takes.
	if o.Manner.Think != 1 || o.Manner.Setting != "cadence" || !o.Manner.Compare || o.Tolerance.Cents != exercise.DefaultTolerance || p.Loudness != -23 {
		t.Errorf("%+v", o)
	}
	for address, check := range map[string]func(Options, *Plan) bool{
		"sing?key=D+dorian&set=drone": func(_ Options, p *Plan) bool {
			return p.Item.Key.ASCII() == "D dorian" && p.Config.Setting.String() == "drone"
		},
		"sing?key=f%23m":               func(_ Options, p *Plan) bool { return p.Item.Key.ASCII() == "F# minor" },
		"#sing?key=f#m":                func(_ Options, p *Plan) bool { return p.Item.Key.ASCII() == "F# minor" },
		"sing?key=A%e2%99%AD%20major":  func(_ Options, p *Plan) bool { return p.Item.Key.ASCII() == "Ab major" },
		"sing?compare=false&count=0x2": func(o Options, p *Plan) bool { return !p.Config.Compare && o.(*Sing).Count == 2 },
		"sing?count=3&count=4":         func(o Options, _ *Plan) bool { return o.(*Sing).Count == 4 },
		"sing?strict-octave":           func(o Options, _ *Plan) bool { return o.(*Sing).Tolerance.StrictOctave },
		"series?level=3&free": func(o Options, _ *Plan) bool {
			s := o.(*Series)
			return s.Level == 3 && s.Free && s.Study == 30 && !s.Echo
		},
		"series?names=none": func(o Options, p *Plan) bool { return p.hideNames && p.Naming == theory.Movable },
		"echo?notes=5&": func(o Options, p *Plan) bool {
			s := o.(*Series)
			return s.Notes == 5 && s.Echo && p.Command == "echo" && s.Setting == "tonic"
		},
		"dictation?of=quality": func(o Options, p *Plan) bool { return o.(*Dictation).Of == "quality" && p.Config.Count == 10 },
		"dictation?answer=sing&length=3": func(o Options, p *Plan) bool {
			return o.(*Dictation).Sings() && p.SungBack() && p.Config.Think == 1
		},
		"today?minutes=5": func(o Options, _ *Plan) bool { return o.(*Today).Course.Minutes == 5 },
		"today":           func(o Options, _ *Plan) bool { return o.(*Today).Feedback == "fading" },
	} {
		if a, p, err := readAddress(address); err != nil || !check(a.Drill, p) {
			t.Errorf("%s: %v; %+v", address, err, a.Drill)
		}
	}
}

func TestWhoAnswersAnAddress(t *testing.T) {
	for address, want := range map[string]Kind{
		"sing?input=simulated": BySimulation, "echo?input=mic": ByMicrophone, "dictation?input=typed": ByTyping,
		"dictation?input=simulated": BySimulation, "today": "", "dictation?input=mic&answer=sing": ByMicrophone,
	} {
		if a, err := ReadAddress(address); err != nil || a.By != want {
			t.Errorf("%s: %q, %v", address, a.By, err)
		}
	}
}

func TestAddressOfAnotherCommand(t *testing.T) {
	a, err := ReadAddress("#melody?level=3&key=E%20major&bare", others...)
	if err != nil || a.Command != "melody" || a.Drill != nil || len(a.Values) != 3 || a.Values["key"] != "E major" || a.Values["bare"] != "true" {
		t.Errorf("%+v, %v", a, err)
	}
	var level int
	add := func(f Flags) { f.IntVar(&level, "level", 1, "") }
	if err := a.Read(add); err == nil || level != 3 || err.Error() != "there is no flag --key" {
		t.Errorf("level %d, %v", level, err)
	}
	for _, empty := range []string{"", "#"} {
		if a, err := ReadAddress(empty); err != nil || a.Command != "" || a.Drill != nil {
			t.Errorf("%q: %+v, %v", empty, a, err)
		}
	}
}

// A mistake in an address is one line about the option.
func TestWrongAddresses(t *testing.T) {
	for address, want := range map[string]string{
		"sign?key=C":                              `there is no command "sign"; did you mean sing?`,
		"xylophone":                               `there is no command "xylophone"`,
		"?key=C":                                  `the address names no command: want one like sing?key=Eb`,
		"sing?degree=la":                          `there is no flag --degree; did you mean --degrees?`,
		"sing?minutes=5":                          `there is no flag --minutes`,
		"series?octav=3":                          `there is no flag --octav`,
		"series?octave=3":                         `--octave: a melody lies where its notes fit: say --voice`,
		"sing?count=many":                         `invalid argument "many" for "--count" flag: want a whole number`,
		"sing?count=99999999999999999999":         `invalid argument "99999999999999999999" for "--count" flag: want a whole number`,
		"sing?seed=-1":                            `invalid argument "-1" for "--seed" flag: want a whole number`,
		"sing?think=long":                         `invalid argument "long" for "--think" flag: want a number`,
		"sing?compare=maybe":                      `invalid argument "maybe" for "--compare" flag: want true or false`,
		"sing?count":                              `flag needs an argument: --count`,
		"sing?count=0":                            `--count: 0 is out of range: want 1 to 1000`,
		"sing?think=NaN":                          `--think: NaN s is out of range: want 0 to 30`,
		"sing?key=H":                              `--key: `,
		"sing?output=x.wav":                       `the page has no --output: only the terminal has it`,
		"sing?input=take.wav":                     `--input: "take.wav": want mic or simulated`,
		"dictation?input=mic":                     `--input: "mic": want typed or simulated`,
		"dictation?answer=sing&input=typed":       `--input: "typed": want mic or simulated`,
		"dictation?answer=hum":                    `--answer: "hum": want name, sing or play`,
		"dictation?answer=sing&of=quality":        `--answer sing: one voice sings no chord; name the quality, or sing the bass with --of bass`,
		"sing?key=%zz":                            `the address: "%zz" is cut short or misspelled: want %20 for a blank, %23 for #`,
		"sing?key=100%":                           `the address: "100%" is cut short or misspelled: want %20 for a blank, %23 for #`,
		"sing?key=%2":                             `the address: "%2" is cut short or misspelled: want %20 for a blank, %23 for #`,
		"sing?key=C%0a":                           `the address: "C%0a" holds what is no text`,
		"sing?key=C%E2%80%AE":                     `the address: "C%E2%80%AE" holds what is no text`,
		"sing?key=%ff":                            `the address: "%ff" holds what is no text`,
		"s%00ing":                                 `the address: "s%00ing" holds what is no text`,
		"sing?=":                                  `there is no flag --`,
		strings.Repeat("sing&", 9000):             `the address has 45000 characters: want at most 2000`,
		"sing?" + strings.Repeat("x", 1000):       `there is no flag --` + strings.Repeat("x", 40) + "…",
		"sing?count=" + strings.Repeat("y", 1000): `invalid argument "` + strings.Repeat("y", 40) + `…" for "--count" flag: want a whole number`,
	} {
		_, _, err := readAddress(address)
		var w Wrong
		if !errors.As(err, &w) || err.Error() != want && !(strings.HasSuffix(want, ": ") && strings.HasPrefix(err.Error(), want)) {
			t.Errorf("%s: %v, want %s", plain.Short(address), err, want)
		}
	}
}

// What is written is read back.
func TestWriteAddress(t *testing.T) {
	const text = `f# +%&=?é♭"<script>`
	written := WriteAddress("melody", "key", "Ab major", "empty", "", "names", text)
	if strings.ContainsFunc(written, func(r rune) bool { return r <= ' ' || r > '~' }) || !strings.HasPrefix(written, "melody?key=Ab+major&names=f%23") {
		t.Error(written)
	}
	a, err := ReadAddress(written, others...)
	if err != nil || len(a.Values) != 2 || a.Values["key"] != "Ab major" || a.Values["names"] != text {
		t.Errorf("%+v, %v", a, err)
	}
	if got := WriteAddress("today"); got != "today" {
		t.Error(got)
	}
}

// Every skill of the course, and of every degree, has an address that asks for it.
func TestSkillAddresses(t *testing.T) {
	var skills []exercise.Skill
	for _, stage := range course.BuiltIn().Stages {
		skills = append(skills, stage.Skills...)
	}
	for _, d := range (theory.Key{}).ChromaticDegrees() {
		skills = append(skills, exercise.DegreeSkillOf(theory.Key{}, d), exercise.Skill{Kind: exercise.BassSkill, Degree: d})
	}
	for _, k := range theory.Keys() {
		skills = append(skills, exercise.Skill{Kind: exercise.KeySkill, Key: k})
	}
	for _, q := range compose.Qualities() {
		skills = append(skills, exercise.Skill{Kind: exercise.QualitySkill, Chord: q})
	}
	for level := range compose.Levels {
		skills = append(skills, exercise.Skill{Kind: exercise.MelodySkill, Level: level + 1})
	}
	kinds := map[exercise.Kind]int{}
	for _, s := range skills {
		kinds[s.Kind]++
		address := SkillAddress(s)
		a, p, err := readAddress(address)
		if err != nil {
			t.Errorf("%s: %s: %v", s, address, err)
			continue
		}
		asked := false
		switch o := a.Drill.(type) {
		case *Sing:
			for _, it := range o.Items() {
				got := it.Skill()
				got.Way = s.Way // a move may go either way
				asked = asked || got == s || s.Kind == exercise.KeySkill && it.Key == s.Key
			}
		case *Dictation:
			known, err := o.skills(p.Item.Key, p.Naming)
			asked = err == nil && slices.Contains(known, s) && len(known) > 1
		case *Series:
			asked = o.melodiesHave(s.Level)
		}
		if !asked {
			t.Errorf("%s: %s does not ask for it", s, address)
		}
	}
	if len(kinds) != 8 {
		t.Errorf("kinds %v", kinds)
	}
	for want, s := range map[string]exercise.Skill{
		"sing?degrees=la":                          {Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 6}},
		"sing?key=C+minor&degrees=me":              {Kind: exercise.DegreeSkill, Degree: theory.Degree{Step: 3, Alter: -1}},
		"sing?degrees=me":                          {Kind: exercise.ChromaticSkill, Degree: theory.Degree{Step: 3, Alter: -1}},
		"sing?key=C+minor&from=fa&degrees=le":      {Kind: exercise.PairSkill, From: theory.Degree{Step: 4}, Degree: theory.Degree{Step: 6, Alter: -1}, Way: exercise.Up},
		"sing?from=la&degrees=re":                  {Kind: exercise.PairSkill, From: theory.Degree{Step: 6}, Degree: theory.Degree{Step: 2}, Way: exercise.Down},
		"dictation?of=bass&degrees=la+do+sol+fa":   {Kind: exercise.BassSkill, Degree: theory.Degree{Step: 6}},
		"dictation?of=quality&qualities=maj+min":   {Kind: exercise.QualitySkill, Chord: "min"},
		"dictation?of=quality&qualities=7+maj+min": {Kind: exercise.QualitySkill, Chord: "7"},
		"series?level=3":                           {Kind: exercise.MelodySkill, Level: 3},
		"sing?key=Ab+major":                        {Kind: exercise.KeySkill, Key: theory.Key{Tonic: theory.Note{Letter: theory.A, Alter: -1}}},
	} {
		if got := SkillAddress(s); got != want {
			t.Errorf("%s: %s, want %s", s, got, want)
		}
	}
}

// The weakest interval of a line has an address in every naming and key: one that asks
// for that interval.
func TestWeakestAddress(t *testing.T) {
	for _, naming := range theory.Namings() {
		for _, k := range theory.Keys() {
			r := &Run{Plan: &Plan{Naming: naming}}
			var s session.LineSung
			if got := r.WeakestAddress(s); got != "" {
				t.Errorf("a line without faults: %s", got)
			}
			chromatic := k.ChromaticDegrees()
			s.Melody.Score.Key, s.Model.Key, s.Model.Degrees = k, k, chromatic[:]
			for i := range len(chromatic) - 1 {
				s.Grade.Weakest = &grade.Leap{From: i, To: i + 1}
				address := r.WeakestAddress(s)
				a, p, err := readAddress(address)
				if err != nil {
					t.Fatalf("%s: %v", address, err)
				}
				it := a.Drill.(*Sing).Items()[0]
				if p.Item.Key != k || p.Naming != naming || it.From == nil || *it.From != chromatic[i] || it.Asked != chromatic[i+1] {
					t.Errorf("%s asks %v from %v in %s", address, it.Asked, it.From, p.Item.Key.ASCII())
				}
			}
		}
	}
}

func (o *Series) melodiesHave(level int) bool {
	ms, err := o.melodies()
	return err == nil && len(ms) > 0 && ms[0].Level == level
}

// Whatever an address is, it is read, or refused in one short line.
func FuzzAddress(f *testing.F) {
	for _, s := range []string{"#sing?key=Eb&degrees=la&count=1&seed=7", "series?level=3&free", "echo?notes=4", "dictation?of=bass&length=3", "today?minutes=5",
		"melody?level=3&seed=7", "sing?key=%zz", "sing?a4=NaN&think=1e999", "sing?tuning=just+re%3D10/9", "?", "sing?count=1&count=", "%", "a=b&c"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, address string) {
		a, p, err := readAddress(address)
		if err != nil {
			text := err.Error()
			if len(text) > 700 || !utf8.ValidString(text) || strings.ContainsFunc(text, plain.Control) {
				t.Errorf("%q", text)
			}
			var w Wrong
			if !errors.As(err, &w) {
				t.Errorf("%T: %v", err, err)
			}
			return
		}
		if a.Drill != nil && p == nil {
			t.Error("no plan")
		}
		var pairs []string
		for name, value := range a.Values {
			if strings.ContainsFunc(name, func(r rune) bool { return !('a' <= r && r <= 'z' || r == '-') }) || value == "" {
				return // WriteAddress is for flags with values
			}
			pairs = append(pairs, name, value)
		}
		again, err := ReadAddress(WriteAddress(a.Command, pairs...), append(others, a.Command)...)
		if len(address) < maxAddress/4 && (err != nil || fmt.Sprint(again.Values) != fmt.Sprint(a.Values)) {
			t.Errorf("%v, %v; want %v", again.Values, err, a.Values)
		}
	})
}
