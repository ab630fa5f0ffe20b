package drill

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// planned plans what an address asks for.
func planned(t *testing.T, address string) (*Plan, Options, error) {
	t.Helper()
	a, err := ReadAddress(address)
	if err != nil {
		return nil, nil, err
	}
	p, err := a.Drill.Plan()
	return p, a.Drill, err
}

// Every mistake about a band or a count is one line that names the option.
func TestBackingOptions(t *testing.T) {
	for address, want := range map[string]string{
		"echo?backing=polka":                  `--backing: not a groove: "polka"; want straight`,
		"echo?backing=gospel&drone=tonic":     "--backing: a drone sounds already",
		"series?backing=gospel&free":          "--backing: there is no beat with --free",
		"series?backing=gospel&count-in=none": "--count-in none: nobody would know",
		"series?count-in=loud":                `--count-in: "loud": want click, voice or none`,
		"series?free&count-in=voice":          "--count-in: there is no beat with --free",
		"series?vamp=I+IV&click":              "--click: a drone or a vamp sounds meanwhile",
		"echo?count-in=voice":                 "--count-in: no beat is heard: give --click or --backing",
		"echo?click&count-in=none":            "--count-in none: nobody would know",
		"echo?backing=gospel&vamp=I+H9":       "--vamp: ",
		"sing?backing=gospel&vamp=no":         "--vamp: ",
		"sing?key=D+dorian&backing=gospel":    "--backing: its chords are those of major and minor; say others for D dorian with --vamp",
		"sing?backing=gospel&wait=4":          "--wait: there is no silence where a drone, a vamp or a band sounds",
		"sing?backing=gospel&modulate=V":      "--modulate: a drone, a vamp or a band would keep the old key",
		"sing?headphones":                     "--headphones: nothing sounds while you sing; give --drone, --vamp or --backing",
	} {
		_, _, err := planned(t, address)
		var w Wrong
		if !errors.As(err, &w) || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %s", address, err, want)
		}
	}
	for _, address := range []string{
		"echo?backing=gospel&tempo=66&seed=1", "echo?click&headphones&seed=1", "series?click&count-in=voice&seed=1", "series?count-in=none&seed=1",
		"sing?backing=ballad&key=F%23m", "sing?key=D+dorian&backing=gospel&vamp=i+IV",
	} {
		p, _, err := planned(t, address)
		if err != nil {
			t.Errorf("%s: %v", address, err)
			continue
		}
		if strings.HasPrefix(address, "series?count-in=none") != (p.asker != nil && p.Command == "series" && p.asker.(*lines).series.Free) {
			t.Errorf("%s: its own tempo", address)
		}
	}
}

// A band is for headphones, or a room in which the microphone was found to hear no
// loudspeaker: whoever sings into one that hears it is refused in one line. Nobody else is.
func TestBandWantsHeadphones(t *testing.T) {
	for _, c := range []struct {
		address string
		room    *calib.Room
		by      Kind
		heard   bool
		refused bool
	}{
		{"echo?backing=gospel", nil, ByMicrophone, true, true},
		{"sing?backing=gospel", nil, ByMicrophone, true, true},
		{"series?backing=gospel", nil, ByMicrophone, true, true},
		{"echo?backing=gospel", &calib.Room{LeakTried: true, Leaks: true}, ByMicrophone, true, true},
		{"echo?backing=gospel", &calib.Room{}, ByMicrophone, true, true},
		{"echo?backing=gospel", &calib.Room{LeakTried: true}, ByMicrophone, true, false},
		{"echo?backing=gospel&headphones", nil, ByMicrophone, true, false},
		{"sing?backing=gospel&headphones", nil, ByMicrophone, true, false},
		{"echo?backing=gospel", nil, ByMicrophone, false, false},
		{"echo?backing=gospel", nil, BySimulation, true, false},
		{"echo?backing=gospel", nil, ByRecording, true, false},
		{"echo?click", nil, ByMicrophone, true, false},
		{"sing?drone=fifth", nil, ByMicrophone, true, false},
	} {
		a, err := ReadAddress(c.address)
		if err != nil {
			t.Fatal(err)
		}
		switch o := a.Drill.(type) {
		case *Series:
			o.Music.Known.Room = c.room
		case *Sing:
			o.Music.Known.Room = c.room
		}
		p, err := a.Drill.Plan()
		if err != nil {
			t.Fatalf("%s: %v", c.address, err)
		}
		err = p.Refuses(c.by, c.heard)
		if (err != nil) != c.refused || err != nil && (!strings.HasPrefix(err.Error(), "--backing: the microphone would hear the band: wear headphones and say --headphones") || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%s, %+v, %s: %v", c.address, c.room, c.by, err)
		}
	}
}

// The chords go on from phrase to phrase; those that were asked for are kept, one a bar. A
// groove is that of the meter, the tempo that of the groove, unless one was asked for.
func TestBandsOfPhrases(t *testing.T) {
	p, _, err := planned(t, "echo?backing=gospel&level=2&key=G&count=6&seed=3&vamp=I+vi+IV+V")
	if err != nil {
		t.Fatal(err)
	}
	l := p.asker.(*lines)
	var got, want []string
	turn := strings.Fields("I vi IV V")
	for i, m := range l.melodies {
		if m.Score.Tempo != 66 || !m.Score.Meter.Valid() {
			t.Errorf("phrase %d: %g a minute in %v", i+1, m.Score.Tempo, m.Score.Meter)
		}
		if g := l.bands[i].Groove; g.Beats() != m.Score.Meter.Pulses() {
			t.Errorf("phrase %d: %s in %v", i+1, g.Name, m.Score.Meter)
		}
		for _, c := range l.bands[i].Chords {
			want = append(want, turn[len(got)%4])
			got = append(got, c.Roman.ASCII())
		}
	}
	if !slices.Equal(got, want) || len(got) < 6 {
		t.Errorf("%v, want %v", got, want)
	}
	p, _, err = planned(t, "echo?backing=praise&level=2&tempo=100&count=2&seed=3")
	if err != nil || p.asker.(*lines).tempo != 100 || p.asker.(*lines).melodies[0].Score.Tempo != 0 {
		t.Errorf("%v: a tempo was asked for", err)
	}
	// Under single degrees the chords repeat, a bar each, and what is played is made once.
	p, _, err = planned(t, "sing?key=A+minor&backing=waltz&tempo=90")
	if err != nil {
		t.Fatal(err)
	}
	kb := synth.NewKeyboard(8000)
	a, err := p.Config.Under.Band(kb, p.Item.Key, p.Item.Tuning)
	b, err2 := p.Config.Under.Band(kb, p.Item.Key, p.Item.Tuning)
	if err != nil || err2 != nil || a != b || math.Abs(float64(a.Round())/8000-4*3*60/90.) > 1e-3 {
		t.Errorf("%v, %v: a round of %d samples", err, err2, a.Round())
	}
	other := theory.Key{Tonic: theory.Note{Letter: theory.D}, Mode: theory.Minor}
	if c, err := p.Config.Under.Band(kb, other, p.Item.Tuning); err != nil || c == a {
		t.Errorf("%v: another key has the same band", err)
	}
}

// What is said of a count names what comes after it.
func TestCountInText(t *testing.T) {
	for _, c := range []struct {
		e    session.CountIn
		want string
	}{
		{session.CountIn{Beats: 4}, "4 beats are counted, then sing."},
		{session.CountIn{Beats: 1}, "1 beat is counted, then sing."},
		{session.CountIn{Beats: 3, Sung: true}, "do is sung on 3 beats, then sing."},
		{session.CountIn{Beats: 4, Call: true}, "4 beats are counted, then comes the call: sing it back in time."},
	} {
		if got := CountIn(c.e); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
