package calib_test

import (
	"slices"
	"strings"
	"testing"

	"singback/calib"
)

// One room and what is to be done about it, the most urgent first.
func TestAdvise(t *testing.T) {
	fine := calib.Room{Date: today, Floor: -70, Gate: -64, Voice: -20, Peak: -8}
	with := func(change func(*calib.Room)) calib.Room {
		r := fine
		change(&r)
		return r
	}
	for _, c := range []struct {
		name string
		room calib.Room
		want []calib.Advice
	}{
		{"all well", fine, nil},
		{"nobody sang yet", with(func(r *calib.Room) { r.Voice = 0 }), nil},
		{"overloaded", with(func(r *calib.Room) { r.Clipped = true }), []calib.Advice{calib.TurnDown}},
		{"far away in a room", with(func(r *calib.Room) { r.Voice, r.Floor = -50, -68 }), []calib.Advice{calib.Nearer}},
		{"far away in a noisy room", with(func(r *calib.Room) { r.Voice, r.Floor = -50, -60 }), []calib.Advice{calib.Nearer, calib.QuieterRoom}},
		{"little gain", with(func(r *calib.Room) { r.Voice, r.Floor = -50, -85 }), []calib.Advice{calib.TurnUp}},
		{"a loud room", with(func(r *calib.Room) { r.Floor = -30 }), []calib.Advice{calib.QuieterRoom, calib.Nearer}},
		{"hum that does not matter", with(func(r *calib.Room) { r.Hum = 50 }), nil},
		{"hum", with(func(r *calib.Room) { r.Hum, r.Floor = 60, -42 }), []calib.Advice{calib.Hum}},
		{"a fan far below the voice", with(func(r *calib.Room) { r.Fan, r.Floor = true, -50 }), nil},
		{"a fan", with(func(r *calib.Room) { r.Fan, r.Floor = true, -42 }), []calib.Advice{calib.Fan}},
		{"a fan, nobody sang yet", with(func(r *calib.Room) { r.Fan, r.Voice = true, 0 }), []calib.Advice{calib.Fan}},
		{"a loudspeaker", with(func(r *calib.Room) { r.Leaks = true }), []calib.Advice{calib.Headphones}},
		{"everything", with(func(r *calib.Room) { r.Clipped, r.Leaks, r.Fan, r.Hum, r.Floor = true, true, true, 50, -25 }),
			[]calib.Advice{calib.TurnDown, calib.QuieterRoom, calib.Nearer, calib.Hum, calib.Fan, calib.Headphones}},
		{"the room was not measured", calib.NewRoom(today, nil, &calib.Ease{Level: -20, Peak: -9}, nil), nil},
	} {
		if got := calib.Advise(c.room); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestAdviceIsWorded(t *testing.T) {
	seen := map[string]bool{}
	for a := calib.Nearer; a <= calib.Retune; a++ {
		if s := a.String(); !strings.HasSuffix(s, ".") || seen[s] || seen[a.Code()] || strings.Contains(strings.ToLower(s), "db spl") {
			t.Errorf("%s: %q", a.Code(), s)
		}
		seen[a.String()], seen[a.Code()] = true, true
	}
}

// Whatever was measured makes a room that a profile may hold.
func TestNewRoom(t *testing.T) {
	noise := &calib.Noise{Floor: -70, Loud: -66, Hum: 50, HumLevel: -75}
	ease := &calib.Ease{Level: -22, Peak: -10, Seconds: 2, Clips: 1}
	echo := &calib.Echo{Heard: true, Level: -20, Delay: .1, Ratio: 40}
	for _, r := range []calib.Room{
		calib.NewRoom(today, noise, ease, echo), calib.NewRoom(today, noise, nil, nil), calib.NewRoom(today, nil, ease, nil),
		calib.NewRoom(today, nil, nil, echo), calib.NewRoom(today, nil, nil, nil), calib.NewRoom(today, noise, ease, &calib.Echo{}),
	} {
		if err := (calib.Profile{Version: calib.Version, Name: "Ada", Made: today, Room: &r}).Validate(); err != nil {
			t.Errorf("%+v: %v", r, err)
		}
	}
	got := calib.NewRoom(today, noise, ease, echo)
	want := calib.Room{Date: today, Floor: -70, Gate: -63, Hum: 50, Voice: -22, Peak: -10, Clipped: true, LeakTried: true, Leaks: true, Leak: -20, Delay: .1}
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// The facts that a caution must not lose (NIDCD and AAO-HNS 2018: three weeks;
// Cooksey: six to eight weeks).
func TestCautions(t *testing.T) {
	for text, facts := range map[string][]string{
		calib.RangeCaution:   {"pain", "tightness", "hoarse", "three weeks", "laryngologist", "no medical advice", "voice teacher", "clinician"},
		calib.GrowingCaution: {"6 to 8 weeks", "never pushed"},
		calib.LevelCaution:   {"volume low", "louder than your own voice"},
		calib.LongCaution:    {"rest", "water", "pain", "hoarseness"},
	} {
		for _, f := range facts {
			if !strings.Contains(strings.ToLower(text), f) {
				t.Errorf("%q does not say %q", text, f)
			}
		}
	}
	if calib.PublishedError.Cents != 19 || calib.PublishedTolerance.Cents != 25 {
		t.Error("published: Mauch 2014 has 19 cents, Larrouy-Maestri 2018 has 25")
	}
}
