package pitch

// Point is what the tracker says about one frame of the signal.
type Point struct {
	// Index is the sample at the centre of the frame, counted from the first
	// sample pushed.
	Index int64
	// F0 is the fundamental frequency in hertz. It means nothing, and is 0,
	// where Voiced is false.
	F0 float64
	// SE is the standard error of F0 in cents, from how far the harmonics disagree about
	// it and about the level, and from how sharply the pitch has been turning; 0 where
	// Voiced is false. Two of three errors are within it, on steady notes and in vibrato,
	// clean or in noise (TestStandardErrors). It knows nothing of a wrong octave: see
	// Confidence.
	SE float64
	// Voiced tells that the frame holds a sung sound.
	Voiced bool
	// Confidence is how sure the tracker is of Voiced and F0, 0 … 1.
	Confidence float64
	// Estimate is the pitch in hertz whether or not the frame is voiced: F0 where it is,
	// else the one that is likeliest there; 0 where there is none, and everywhere
	// unless Config.Estimates is set.
	Estimate float64
	// Level is the RMS of the frame in dB below full scale: 0 is a square wave
	// at full scale, −3.01 a sine. At least MinLevel.
	Level float64
	// Flux is how much of the spectrum is new, against 20 ms before: 0 none,
	// 1 all of it. Onsets show here before the pitch does.
	Flux float64
	// Lost tells that some samples of the frame never arrived.
	Lost bool
}

// MinLevel is the level, in dBFS, reported for digital silence.
const MinLevel = -120.0
