package cli

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"singback/calib"
	"singback/internal/drill"
	"singback/internal/kept"
	"singback/internal/listen"
	"singback/internal/store"
	"singback/theory"
)

// dataDir is the folder for what the program keeps, by the rules of the system;
// "" where the environment names none.
func (e *env) dataDir() string {
	if dir := e.getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "singback")
	}
	home := e.getenv("HOME")
	switch runtime.GOOS {
	case "windows":
		if dir := e.getenv("AppData"); dir != "" {
			return filepath.Join(dir, "singback")
		}
		return ""
	case "darwin":
		home = filepath.Join(home, "Library", "Application Support")
	default:
		home = filepath.Join(home, ".local", "share")
	}
	if !filepath.IsAbs(home) {
		return ""
	}
	return filepath.Join(home, "singback")
}

func (e *env) singers() *store.Singers { return store.NewSingers(e.dataDir()) }

// singer is the flag --profile, and what is known by it.
type singer struct {
	profile string
	known   calib.Profile // nothing but zeros where nobody is known
	unasked bool          // no profile is there and none was refused

	asked string // who sings, as --singer says; "" without
	name  string // who sings, as --singer or the profile says; "" where neither does
}

func (s *singer) addFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&s.profile, "profile", "", "the profile of a singer, by `NAME`, in a file, or none (see singback profile)")
}

// isFile tells whether a --profile means a file and not a name.
func isFile(profile string) bool {
	return strings.ContainsAny(profile, `/\`) || strings.HasSuffix(profile, ".toml")
}

// know reads the profile that --profile names, or that of the singer whom --singer
// names, or else the current one. Only a profile that was asked for must be there
// and readable: a run goes on without the others, and says so.
func (s *singer) know(e *env) error {
	defer func() { s.name = cmp.Or(s.asked, s.name, s.known.Name) }()
	var err error
	switch {
	case s.profile == store.Nobody:
		return nil
	case isFile(s.profile):
		if s.known, err = store.ReadFile(s.profile); err != nil {
			return fmt.Errorf("--profile: %w", err)
		}
		return nil
	case s.profile != "":
		if s.known, err = e.singers().Load(s.profile); err != nil {
			return fmt.Errorf("--profile: %w", err)
		}
		return nil
	}
	singers := e.singers()
	name, err := singers.Current()
	if errors.Is(err, store.ErrNoFolder) {
		return nil
	}
	if err == nil && s.asked != "" && !strings.EqualFold(name, s.asked) {
		// Somebody else's voice and room would not fit.
		current := name
		name, err = store.Nobody, nil
		if kept.CheckName(s.asked) == nil {
			var there bool
			if name, there, err = singers.Find(s.asked); !there {
				name = store.Nobody
			}
		}
		if err == nil && name == store.Nobody && current != "" && current != store.Nobody {
			fmt.Fprintf(e.stderr, "%s has no profile: safe defaults hold, not those of %s.\n", s.asked, current)
		}
	}
	if err == nil && name == "" {
		names, err := singers.Names()
		s.unasked = err == nil && len(names) == 0
		return nil
	}
	if err == nil && name != store.Nobody {
		s.name = name
		s.known, err = singers.Load(name)
	}
	if err != nil {
		s.known = calib.Profile{}
		fmt.Fprintf(e.stderr, "The profile is left out: %v\n", err)
	}
	return nil
}

// named is how to listen to a recording of the singer whom --profile names, and
// of nobody in particular without it: the recording may be anybody's.
func (s *singer) named(e *env) (listen.Hearing, error) {
	if s.profile == "" {
		return listen.Hearing{}, nil
	}
	if err := s.know(e); err != nil {
		return listen.Hearing{}, err
	}
	a4 := theory.DefaultA4
	if i := s.known.Instrument; i != nil {
		a4 = i.A4
	}
	return s.hearing(a4, true), nil
}

// hearing is how to listen to the singer. The gate is that of the singer's own
// microphone and room.
func (s *singer) hearing(a4 float64, gate bool) listen.Hearing {
	return drill.Hearing(s.known, a4, gate)
}

// instrument returns A4 in hertz: that of --a4, or else of the singer's
// instrument.
func (s *singer) instrument(cmd *cobra.Command, a4 float64) float64 {
	if i := s.known.Instrument; i != nil && !cmd.Flags().Changed("a4") {
		return i.A4
	}
	return a4
}

// style reads --style, or takes that of the profile in use, and says so.
func (s *singer) style(e *env, word string) (theory.Style, error) {
	if word == "" {
		if err := s.know(e); err != nil {
			return 0, err
		}
	}
	style, from, err := drill.ReadStyle(word, s.known.Style)
	if err == nil && word == "" && s.known.Style != "" {
		fmt.Fprintf(e.stderr, "Style: %v, %s.\n", style, from)
	}
	return style, err
}
