package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/synth"
	"singback/theory"
)

// maxChords bounds a progression on the command line.
const maxChords = 256

// harmony holds the flags of commands that voice chords.
type harmony struct {
	texture string
	shift   int
	a4      float64
	tuning  string
	dBFS    float64 // --loudness
	chords  chordNames
	strict  bool

	soundFlags
	singer
	cmd *cobra.Command
}

func (h *harmony) addTuning(cmd *cobra.Command) {
	h.cmd = cmd
	h.singer.addFlag(cmd)
	f := cmd.Flags()
	f.Float64Var(&h.a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`")
	f.StringVar(&h.tuning, "tuning", theory.Equal.String(), drill.TuningHelp)
	must(cmd.RegisterFlagCompletionFunc("tuning", fixed(tuningWordList...)))
}

func (h *harmony) readTuning(e *env) (theory.Tuning, error) {
	if err := h.know(e); err != nil {
		return theory.Tuning{}, err
	}
	a4 := h.instrument(h.cmd, h.a4)
	if _, err := theory.NewTuning(a4); err != nil {
		return theory.Tuning{}, usage(fmt.Errorf("--a4: %w", err))
	}
	t, err := theory.ParseTuning(h.tuning, a4)
	if err != nil {
		return t, usage(fmt.Errorf("--tuning: %w", err))
	}
	return t, nil
}

// readTexture reads --texture and --shift.
func (h *harmony) readTexture() (theory.Texture, error) {
	var t theory.Texture
	switch strings.ToLower(h.texture) {
	case "keyboard":
		t = theory.KeyboardTexture()
	case "choir":
		t = theory.ChoirTexture()
	default:
		return t, usagef("--texture: %q: want keyboard or choir", short(h.texture))
	}
	if h.shift < -24 || h.shift > 24 {
		return t, usagef("--shift: %d semitones is out of range: want -24 to 24", h.shift)
	}
	return t.Shift(h.shift), nil
}

func (h *harmony) addStrict(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&h.strict, "strict", false, "nothing is let pass: refuse where no voicing keeps the rules")
}

// voice sets chords, with licences where --strict does not forbid them.
func (h *harmony) voice(t theory.Texture, p []theory.Roman) ([]theory.Voicing, int, []theory.Licence, error) {
	if h.strict {
		v, cost, err := t.Voice(p)
		return v, cost, nil, err
	}
	return t.VoiceFreely(p)
}

func newCadence(e *env) *cobra.Command {
	var h harmony
	var key string
	var file chordFlags
	f := newFormat("text", "json")
	var names []string
	for _, c := range theory.Cadences() {
		names = append(names, c.Name)
	}
	cmd := &cobra.Command{
		Use:   "cadence --key KEY NAME | CHORDS | FILE",
		Short: "Set a progression in four parts, and sound it",
		Long: `Cadence sets a progression in four parts by the rules of voice leading: no
parallel fifths or octaves, no crossing, the leading tone not doubled and rising
to do, sevenths falling, and the upper parts moving as little as they can. It
finds the best voicing there is. Where none keeps the rules, it takes the fewest
licences it can, and names each; --strict refuses instead, and says between which
two chords.

The progression is a name (` + strings.Join(names, ", ") + `)
or chords: Roman numerals with figures (ii65, V7/V, bVII, viio7, N6, Ger65),
numbers as charts have them (1 4 6- 57, 4/1, 5sus), or chord symbols. Large numerals are major, small ones minor. A 7 is a minor
seventh; a major one is written IVmaj7. In minor VI and VII stand on the lowered
degrees, V and viio have the raised seventh.

Between chords stand spaces, bars, commas or dashes (I-IV-V, C - F). A dash
right behind a root is minor: C-7, and "A- F". A symbol that can be read in two
ways is refused, with what to write.

FILE is music with chord symbols (ABC, MusicXML, MXL): they are set, in the key of
the file, or moved into --to-key.

--texture keyboard has the bass in the left hand and three notes within an
octave in the right; --texture choir keeps the ranges of four voices.`,
		Example: `  singback cadence --key "Ab major" full
  singback cadence --key C --texture choir "I vi ii65 V7 I" --output cadence.wav
  singback cadence --key G --chords numbers "1 | 4/1 | 6-7 | 5sus 57 | 1"
  singback cadence --key "F# minor" "i iv6 V7/V V7 i" --format json
  singback cadence hymn.abc --to-key Eb`,
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return names, cobra.ShellCompDirectiveDefault
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			chords, err := file.read(e, args, key)
			if err != nil {
				return err
			}
			if chords != nil {
				return h.set(cmd.Context(), e, chords.oneKey(e), chords.chords, f.value)
			}
			if key == "" {
				return usagef(`--key is missing: like "Ab major" or f#m`)
			}
			k, err := theory.ParseKey(key)
			if err != nil {
				return usage(fmt.Errorf("--key: %w", err))
			}
			return h.set(cmd.Context(), e, k, nil, f.value, args...)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&key, "key", "", "the `KEY`, like \"Ab major\" or f#m")
	file.add(cmd, true)
	fl.StringVar(&h.texture, "texture", "keyboard", "four parts for a `KIND`: keyboard or choir")
	fl.IntVar(&h.shift, "shift", 0, "move the register by so many `SEMITONES`, -24 to 24")
	h.soundFlags.addOutput(cmd)
	drill.AddLoudness(fl, &h.dBFS)
	fl.Lookup("output").Usage += " (else it is not sounded)"
	oldName(cmd, "level", "loudness")
	oldName(cmd, "style", "texture")
	h.addTuning(cmd)
	h.addStrict(cmd)
	h.chords.addFlag(cmd)
	addFormat(cmd, f)
	must(cmd.RegisterFlagCompletionFunc("key", fixed(keyNames(false)...)))
	must(cmd.RegisterFlagCompletionFunc("texture", fixed("keyboard", "choir")))
	return cmd
}

// set sets chords in four parts: p, or where that is nil the progression that is named.
func (h *harmony) set(ctx context.Context, e *env, key theory.Key, p []theory.Roman, format string, named ...string) error {
	tuning, err := h.readTuning(e)
	if err != nil {
		return err
	}
	texture, err := h.readTexture()
	if err != nil {
		return err
	}
	if err := cmp.Or(drill.CheckLoudness(h.dBFS), h.soundFlags.check("")); err != nil {
		return err
	}
	style, err := h.chords.style(e, theory.Movable)
	if err != nil {
		return err
	}
	if chords := strings.Join(named, " "); p == nil {
		if strings.TrimSpace(chords) == "" {
			return usagef(`the progression is missing: a name like full, or chords like "I IV V7 I"`)
		}
		if p, err = theory.ReadProgression(chords, key); err != nil {
			return usage(err)
		}
	}
	if len(p) > maxChords {
		return usagef("%d chords are too many: want at most %d", len(p), maxChords)
	}
	voicing, cost, licences, err := h.voice(texture, p)
	if err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	var s stage
	defer s.close()
	if h.output != "" || h.outputDevice != "" {
		where := stageOptions{soundFlags: h.soundFlags}
		if err := where.openOutput(ctx, e, &s, "", nil); err != nil {
			return err
		}
	}
	how := strings.ToLower(h.texture)
	if format == "json" {
		err = e.printIndented(report.NewVoicing(p, voicing, cost, licences, how, tuning))
	} else {
		text := fmt.Sprintf("%s, %s\n\n%s", style.Key(key), how, style.Voicing(p, voicing))
		if free := style.Licences(p, licences); free != "" {
			text += "\n" + free
		}
		if notes := style.Respelled(p); notes != "" {
			text += "\n" + notes
		}
		err = e.print(text)
	}
	if err != nil {
		return err
	}
	if s.out == nil {
		return nil
	}
	keyboard := synth.Keyboard{SampleRate: s.out.SampleRate(), Level: h.dBFS}
	if err := s.out.Write(ctx, keyboard.Render(synth.Progression(key, tuning, voicing))); err != nil {
		return err
	}
	return errors.Join(s.out.Drain(ctx), s.close())
}
