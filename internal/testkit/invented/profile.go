package invented

import (
	"singback/calib"
	"singback/theory"
)

// Profile is an invented singer, of whom everything is known.
func Profile() calib.Profile {
	day := calib.Date{Year: 2026, Month: 11, Day: 25}
	return calib.Profile{
		Version: calib.Version, Name: "Wilma T", Made: day,
		Voice: &calib.Voice{
			Date: day, Kind: "alto", Comfortable: theory.Range{Low: 53, High: 72}, Tessitura: theory.Range{Low: 57, High: 67},
			Notes: 12, Error: 18.25, Spread: 9.5,
		},
		Room: &calib.Room{
			Date: day, Floor: -61.5, Gate: -52, Hum: 50, Fan: true, Voice: -24, Peak: -9.1,
			LeakTried: true, Leaks: true, Leak: -31.5, Delay: 0.0425,
		},
		Instrument: &calib.Instrument{Date: day, A4: 442.07, SE: 0.4, Notes: 5},
	}
}
