package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"singback/internal/drill"
)

// meanings is what each flag means, whatever command it stands in: the words that its
// text begins with. A comma, a semicolon, a colon or a bracket may follow, and what
// the command adds.
var meanings = map[string]string{
	"about":           "your `NOTES` on a student",
	"again":           "read again what is in the class already",
	"back":            "take the last word back",
	"called":          "it has this `NAME` from now on",
	"class":           "the class is this `FILE`",
	"consent":         "the `DAY` of the consent to recordings being marked",
	"consent-by":      "`WHO` consented",
	"copy":            "the class keeps copies of the recordings",
	"counts":          "`WHICH` of several takes counts",
	"due":             "the `DAY` on which it is due",
	"exercise":        "practise this instead of a melody",
	"given":           "the `DAY` on which it was given",
	"goal":            "of an exercise",
	"into":            "what a server has is fetched into this `FOLDER`",
	"joined":          "the `DAY` on which they joined",
	"lot":             "so many `TAKES` drawn by lot",
	"mark":            "mark what is measured at once",
	"most":            "no more than so many `TAKES`",
	"recordings":      "delete the recordings too",
	"roster":          "the students are in this `FILE`",
	"rubric":          "what counts in a mark",
	"sheets":          "delete the sheets that were written too",
	"student":         "of this student",
	"task":            "of this task",
	"try":             "keep nothing",
	"value":           "your `MARK`",
	"verdict":         "decide",
	"whose":           "whose each recording is",
	"why":             "`WHY` you decide so",
	"words":           "the `WORDS` to the students",
	"a4":              "tuning: A4 in `Hz`",
	"address":         "the `URL` of the folder",
	"against":         "`WHAT` sounds while you sing",
	"all":             "of all students",
	"all-keys":        "in all keys of the mode",
	"at":              "one bar before this `PLACE` of the recording",
	"link":            "the page lies at this `ADDRESS`",
	"paper":           "the `SIZE` of the paper",
	"staff":           "with the line as staff notation",
	"take":            "the take of this `NUMBER`",
	"until":           "up to this `PLACE` of the recording",
	"what":            "`WHAT` is heard: take, model or both",
	"answer":          "the `WAY` you answer",
	"by":              "`HOW` you follow",
	"beats":           "the `FILE` with the times of the beats",
	"channel":         "of a recording read only this channel",
	"chromatic":       "all twelve degrees",
	"chords":          "what chords are called beside their symbols, a `KIND`",
	"clef":            "the `CLEF`",
	"click":           "the beat goes on clicking while you sing",
	"compare":         "after each answer sound what was right",
	"count":           "how many",
	"course":          "the course in this `FILE` (else the built-in one",
	"cursor":          "show while you sing which degree is heard",
	"damaged":         "write what can still be read of a damaged record",
	"date":            "practise as on this `DAY`",
	"degree":          "the `DEGREE` asked for",
	"degrees":         "the `DEGREES` asked for",
	"drone":           "a `DRONE` sounds while you sing",
	"headphones":      "you hear it in headphones",
	"modulate":        "a passage leads to one of these `CHORDS`",
	"silent-bars":     "fall silent in these `BARS`",
	"vamp":            "these `CHORDS` repeat while you sing",
	"wait":            "keep do in mind for so many `BEATS` of silence before you sing",
	"wait-click":      "click the beats of --wait",
	"device":          "microphone: part of its `NAME`",
	"estimates":       "give the likeliest pitch of rows that are not voiced",
	"feedback":        "how `MUCH` you are told",
	"first-beat":      "`SECONDS` until the first beat of a bar",
	"force":           "replace files that are there already",
	"format":          "results as",
	"free":            "your own tempo",
	"from":            "sound one of these `DEGREES` first",
	"hear":            "hear the melody before you sing it",
	"count-in":        "`HOW` a bar is counted in",
	"backing":         "a band plays this `GROOVE` while you sing",
	"gap":             "`SECONDS` of silence before you sing",
	"growing":         "a child's or changing voice",
	"guard-formulas":  "for a spreadsheet",
	"guess":           "ask first, now and then, whether it was flat",
	"help":            "help for",
	"hold":            "`SECONDS` after which a held note is an answer",
	"home":            "`HOW` home is known",
	"html":            "write a page to print into this `FILE`",
	"input":           "what answers",
	"also":            "measure these `PARTS` too, which are left out else",
	"sound":           "`WHAT` sounds notes and lines: keyboard, or voice",
	"instrument":      "the `INSTRUMENT` that plays what is heard: piano, organ, electric",
	"keep":            "keep what was sung as WAV in this `FOLDER`",
	"key":             "the `KEY`",
	"key-profile":     "what keys are known by",
	"length":          "how many chords are heard in one question",
	"keys":            "the MIDI keyboard: its `PATH`",
	"level":           "`LEVEL` of the melodies, 1 to 7",
	"line":            "`WHAT` you sing along",
	"list":            "more takes: this `FILE` names one a line",
	"share":           "only the `K/N`th share of the takes",
	"live":            "decide each row as early as possible",
	"louder":          "how many `DECIBELS` my part is louder than the others",
	"loudness":        "the sound has this loudness, in `LUFS`, -60 to -14; the default is quiet, 7 or more under music that is streamed",
	"meter":           "the time `SIGNATURE`",
	"mode":            "the `MODE`",
	"minutes":         "how many `MINUTES` at most",
	"model":           "the `MODEL`",
	"names":           "what degrees are called, a `NAMING`",
	"no-descriptions": "disable completion descriptions",
	"no-open":         "open no browser",
	"no-record":       "record nothing",
	"note":            "which `NOTE` is played first",
	"notes":           "how many notes a phrase has",
	"octave":          "the `OCTAVE` of the tonic, where 4 begins at middle C",
	"of":              "`WHAT` is to be named",
	"only":            "measure only these `PARTS`",
	"out":             "write the result into this",
	"output":          "where the sound goes: speaker, none or `FILE.wav`",
	"output-device":   "loudspeaker: part of its `NAME`",
	"part":            "the voice, part or track of a notation file: its `NAME` or number",
	"partial":         "read a recording that is cut short as far as it goes",
	"port":            "the `PORT` of this computer",
	"play":            "`WHAT` sounds",
	"png":             "draw charts as PNG into this `FOLDER`",
	"profile":         "the profile of a singer, by `NAME`",
	"progressions":    "the questions: a `FILE` of progressions",
	"pulse":           "the `NOTE` value of a pulse",
	"qualities":       "the `QUALITIES` that chords may have",
	"range":           "the lowest and the highest note, like",
	"read-as":         "the `NAMING` of the names that are read",
	"record":          "the practice record is this `FILE`",
	"resume":          "go on with --out FILE",
	"retry":           "`WHEN` there is a second attempt after a miss",
	"scale":           "a `SCALE` on the tonic",
	"seed":            "number that draws",
	"set":             "the `WAY` the key is set",
	"set-every":       "set the key again after this `NUMBER` of questions",
	"shift":           "move the register by so many `SEMITONES`",
	"since":           "only answers from this `DAY` on",
	"singer":          "who sings, by `NAME`",
	"singing":         "end after so many `MINUTES` of singing in a day",
	"skip":            "leave out these `PARTS`",
	"strict":          "nothing is let pass",
	"strict-octave":   "only the octave asked for is right",
	"study":           "`SECONDS` to read a melody in silence",
	"style":           "the `STYLE` of the harmony",
	"svg":             "draw charts as SVG into this `FOLDER`",
	"tempo":           "`BEATS` a minute",
	"tune":            "of a file of ABC with several, the `TUNE`: its number (X:) or title",
	"texture":         "four parts for a `KIND`",
	"parts":           "`NUMBER` of notes in a chord",
	"then":            "`WHAT` comes once it was sung",
	"think":           "`SECONDS` to hear the note inwardly before the microphone is heard",
	"timeout":         "`SECONDS` to wait for an answer from the microphone",
	"to":              "the `NOTATION` a line is written in",
	"to-key":          "move it to this `KEY` of the same mode",
	"tone":            "play a test tone too",
	"tolerance":       "how many `CENTS` off are still right",
	"tuning":          drill.TuningHelp,
	"version":         "version for singback",
	"voice":           "the `VOICE`",
	"voices":          "write each in four parts, for keyboard",
	"widen":           "keep the notes too that an earlier test found",
	"yes":             "do not ask",

	"actor":         "who answers in statements, by this `NAME`",
	"as":            "begin each name there with these `WORDS`",
	"hand-in":       "the page hands in to the folder at this `URL`",
	"home-page":     "who gave out the names in statements, as a `URL`",
	"user":          "enter the folder by this `NAME`",
	"password-file": "the password is the first line of this `FILE`",
	"without-tls":   "speak http to another computer",
	"practice":      "send your record of practice",
}

// open are the flags whose meaning is carried on without a sign behind it.
var open = []string{"count", "format", "help", "out", "range", "seed"}

// oldNames are the flags that have another name now.
var oldNames = map[string][]string{
	"calibrate": {"level", "name", "instrument"}, "cadence": {"level", "style"}, "dictation": {"level"}, "sing": {"level"}, "today": {"level"},
	"findkey": {"profile"}, "melody": {"from"}, "rename": {"from", "to"},
}

// notAsked are flags that a command takes and ignores or refuses, with all others of
// its kind, and that its help leaves out.
var notAsked = map[string][]string{"series": {"octave"}, "echo": {"octave"}, "dictation": {"octave", "voice"}}

// flagNames lists the flags that a command shows, its own and those from above.
func flagNames(cmd *cobra.Command) (names []string) {
	cmd.InitDefaultHelpFlag()
	cmd.InitDefaultVersionFlag()
	for _, m := range regexp.MustCompile(`(?m)^ +(?:-\w, )?--([a-z0-9-]+)`).FindAllStringSubmatch(cmd.LocalFlags().FlagUsages()+cmd.InheritedFlags().FlagUsages(), -1) {
		names = append(names, m[1])
	}
	return names
}

func everyCommand(cmd *cobra.Command, do func(*cobra.Command)) {
	do(cmd)
	for _, c := range cmd.Commands() {
		everyCommand(c, do)
	}
}

// A word means one thing: a flag has the same meaning in every command that has it,
// says what its value is called, and stands in one group.
func TestFlagsMeanOneThing(t *testing.T) {
	groups := map[string]int{}
	for _, g := range flagGroups {
		for _, name := range g.names {
			groups[name]++
			if meanings[name] == "" {
				t.Errorf("--%s has a group and no meaning", name)
			}
		}
	}
	used := map[string]bool{}
	everyCommand(newRoot(&env{getenv: func(string) string { return "" }}), func(cmd *cobra.Command) {
		for _, name := range flagNames(cmd) {
			used[name] = true
			f := cmd.Flag(name)
			rest, ok := strings.CutPrefix(f.Usage, meanings[name])
			switch {
			case meanings[name] == "" || !ok:
				t.Errorf("%s --%s means %q, elsewhere %q", cmd.CommandPath(), name, f.Usage, meanings[name])
			case rest != "" && !strings.ContainsAny(rest[:1], ",;:") && !strings.HasPrefix(rest, " (") && !slices.Contains(open, name):
				t.Errorf("%s --%s: behind %q comes %q", cmd.CommandPath(), name, meanings[name], rest)
			case groups[name] != 1:
				t.Errorf("--%s is in %d groups, want 1", name, groups[name])
			case f.Value.Type() == "string" && strings.Count(f.Usage, "`") != 2 && f.NoOptDefVal == "":
				t.Errorf("%s --%s does not say what its value is called: %q", cmd.CommandPath(), name, f.Usage)
			}
		}
		known := append(slices.Clone(oldNames[cmd.Name()]), notAsked[cmd.Name()]...)
		for name := range groups {
			if f := cmd.Flags().Lookup(name); f != nil && f.Hidden && !slices.Contains(known, name) {
				t.Errorf("%s hides --%s", cmd.CommandPath(), name)
			}
		}
	})
	for name := range meanings {
		if !used[name] {
			t.Errorf("no command has --%s", name)
		}
		delete(groups, name)
	}
}

// Help shows each flag once, under the same headings in the same order, and no line
// of the flags is wider than what it is made for.
func TestHelpGroupsFlags(t *testing.T) {
	var headings []string
	for _, g := range flagGroups {
		headings = append(headings, g.heading+":")
	}
	for _, width := range []int{40, 60, 80} {
		e := &env{terminal: func(any) bool { return true }, getenv: func(string) string { return "" }, columns: func() int { return width }}
		everyCommand(newRoot(e), func(cmd *cobra.Command) {
			names := flagNames(cmd)
			text := flagRows(cmd, width)
			last := -1
			for line := range strings.Lines(text) {
				line = strings.TrimRight(line, "\n")
				if i := slices.Index(headings, line); i >= 0 {
					if i <= last {
						t.Errorf("%s: %q comes after %q", cmd.CommandPath(), line, headings[last])
					}
					last = i
				}
				if n := utf8.RuneCountInString(line); n > width && len(strings.Fields(line)) > 1 {
					t.Errorf("%s in %d columns: a line of %d: %q", cmd.CommandPath(), width, n, line)
				}
			}
			if got := len(regexp.MustCompile(`(?m)^  (-\w, )?--`).FindAllString(text, -1)); got != len(names) {
				t.Errorf("%s shows %d flags, has %d", cmd.CommandPath(), got, len(names))
			}
			for _, name := range names {
				if n := len(regexp.MustCompile(`(?m)^  (-\w, )?--`+name+`( |\[|$)`).FindAllString(text, -1)); n != 1 {
					t.Errorf("%s shows --%s %d times:\n%s", cmd.CommandPath(), name, n, text)
				}
			}
			var help bytes.Buffer
			cmd.SetOut(&help)
			if err := cmd.Help(); err != nil || !strings.Contains(help.String(), text) {
				t.Errorf("%s: the help has not its flags: %v", cmd.CommandPath(), err)
			}
		})
	}
}

// An old spelling does what the new one does, and says so in one line; help shows
// the new one alone.
func TestOldSpellings(t *testing.T) {
	dir := t.TempDir()
	toml := func(name string) string { return filepath.Join(dir, name+".toml") }
	wav := func(name string) string { return filepath.Join(dir, name+".wav") }
	drill := []string{"--input", "simulated", "--count", "1", "--seed", "3", "--no-record", "--output"}
	room := []string{"calibrate", "--input", "simulated", "--only", "room", "--seed", "2"}
	of := func(before []string, more ...string) []string { return append(slices.Clone(before), more...) }
	for _, c := range []struct {
		old, now []string // the files that end each are compared, where they name one
		note     string
		quiet    bool // it says more on standard error than the note
	}{
		{of([]string{"sing", "--level", "-30"}, of(drill, wav("sing-old"))...), of([]string{"sing", "--loudness", "-30"}, of(drill, wav("sing"))...), "Note: --level is now --loudness; ", true},
		{of([]string{"dictation", "--level=-30"}, of(drill, wav("dict-old"))...), of([]string{"dictation", "--loudness", "-30"}, of(drill, wav("dict"))...), "Note: --level is now --loudness; ", true},
		{[]string{"today", "--level", "-30", "--minutes", "1", "--seed", "3", "--no-record", "--input", "simulated", "--output", wav("today-old")},
			[]string{"today", "--loudness", "-30", "--minutes", "1", "--seed", "3", "--no-record", "--input", "simulated", "--output", wav("today")}, "Note: --level is now --loudness; ", true},
		{of(room, "--profile", "none", "--level", "-30", "--output", wav("cal-old")), of(room, "--profile", "none", "--loudness", "-30", "--output", wav("cal")), "Note: --level is now --loudness; ", true},
		{of(room, "--profile", "none", "--instrument", "--output", wav("ins-old")), of(room, "--profile", "none", "--also", "instrument", "--output", wav("ins")), "Note: --instrument is now --also instrument; ", true},
		{of(room, "--name", "Ute", "--profile", toml("old")), of(room, "--singer", "Ute", "--profile", toml("new")), "Note: --name is now --singer; ", true},
		{[]string{"cadence", "--key", "C", "I V I", "--level", "-30", "--output", wav("cad-old")}, []string{"cadence", "--key", "C", "I V I", "--loudness", "-30", "--output", wav("cad")}, "Note: --level is now --loudness; ", false},
		{[]string{"cadence", "--key", "C", "--style", "choir", "I V I"}, []string{"cadence", "--key", "C", "--texture", "choir", "I V I"}, "Note: --style is now --texture; ", false},
		{[]string{"findkey", "--profile", "listeners", "do re mi"}, []string{"findkey", "--key-profile", "listeners", "do re mi"}, "Note: --profile is now --key-profile; ", false},
		{[]string{"melody", "--key", "D", "--from", "curwen", "| d :r | m :f ||"}, []string{"melody", "--key", "D", "--read-as", "curwen", "| d :r | m :f ||"}, "Note: --from is now --read-as; ", false},
		{[]string{"rename", "--from", "curwen", "--key", "D", "d r m"}, []string{"rename", "--read-as", "curwen", "--key", "D", "d r m"}, "Note: --from is now --read-as; ", false},
		{[]string{"rename", "--to", "letters", "--key", "D", "do re mi"}, []string{"rename", "--names", "letters", "--key", "D", "do re mi"}, "Note: --to is now --names; ", false},
		{[]string{"course", "export", toml("course-old")}, []string{"course", "export", "--out", toml("course")}, "Note: write course export --out ", false},
	} {
		if raceDetector && slices.Contains(c.old, "simulated") {
			continue // other tests have the simulated singer sing
		}
		data := t.TempDir()
		wasOut, wasErr := call{data: data}.must(t, c.old...)
		isOut, isErr := call{data: data}.must(t, c.now...)
		note, rest, _ := strings.Cut(wasErr, "\n")
		if !strings.HasPrefix(note, c.note) || strings.Contains(rest, "Note: --") || strings.Contains(isErr, "Note: --") || !c.quiet && rest != isErr {
			t.Errorf("%q says %q; %q says %q", c.old, wasErr, c.now, isErr)
		}
		was, is := c.old[len(c.old)-1], c.now[len(c.now)-1]
		if slices.Contains([]string{".wav", ".toml"}, filepath.Ext(was)) {
			a, err1 := os.ReadFile(was)
			b, err2 := os.ReadFile(is)
			if err1 != nil || err2 != nil || !bytes.Equal(a, b) {
				t.Errorf("%q and %q write different files (%d and %d bytes; %v, %v)", c.old, c.now, len(a), len(b), err1, err2)
			}
			wasOut, isOut = strings.ReplaceAll(wasOut, was, is), strings.ReplaceAll(isOut, is, is)
		}
		if wasOut != isOut {
			t.Errorf("%q prints %q, want %q", c.old, wasOut, isOut)
		}
	}
	tested := 0
	everyCommand(newRoot(&env{getenv: func(string) string { return "" }}), func(cmd *cobra.Command) {
		for _, name := range oldNames[cmd.Name()] {
			tested++
			if f := cmd.Flags().Lookup(name); f == nil || !f.Hidden || strings.Contains(flagRows(cmd, 80), "--"+name+" ") {
				t.Errorf("%s --%s is gone, or shown", cmd.CommandPath(), name)
			}
		}
	})
	if tested != 12 {
		t.Errorf("%d old names are looked at, want 12", tested)
	}
	// A mistake is told under the new name, and a word that is no number under the one that was typed.
	for _, c := range []struct{ args, says []string }{
		{[]string{"sing", "--level", "3"}, []string{"Note: --level is now --loudness", "--loudness: 3 LUFS is out of range: want -60 to -14"}},
		{[]string{"sing", "--level", "loud"}, []string{`invalid argument "loud" for "--level" flag: want a number`}},
		{[]string{"series", "--level", "-20"}, []string{"there is no level -20: want 1 to 7"}},
		{[]string{"findkey", "--loudness", "-20"}, []string{"there is no flag --loudness"}},
		{[]string{"echo", "--device", "usb", "--input", "simulated"}, []string{"--device: no microphone is used"}},
		{[]string{"series", "--output", "none", "--output-device", "usb"}, []string{"--output-device: no loudspeaker is used"}},
	} {
		_, stderr, code := call{}.run(t, c.args...)
		for _, says := range c.says {
			if code != exitUsage || !strings.Contains(stderr, says) {
				t.Errorf("%q: exit %d, %q; want %q", c.args, code, stderr, says)
			}
		}
	}
}
