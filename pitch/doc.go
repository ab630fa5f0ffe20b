// Package pitch finds the fundamental frequency of a sung voice.
//
// Most users need two calls: [Tracker.Push], which takes samples and appends a
// [Point] for every hop, and [Segmenter.Push], which takes points and appends a
// [Note] for every sung note that has ended. Both give the same result however
// the signal is cut into calls, and allocate nothing once warm. [CompanyFinder] tells
// what sounds beside a voice.
//
// The package knows hertz and samples, no music: whether a note is the right
// one is for others to say. It reads no sound, and no clock.
//
// # How the tracker hears
//
// The signal is brought to an inner rate of 8 to 20 kHz by half-band stages of linear
// phase, whose delay is made up for (decimate.go). Then, for each hop, which is 10 ms:
//
//  1. Spectrum (spectrum.go). A Hann window of 50 ms and one real transform of 1024
//     points. The power of each bin is compared with a noise floor that follows what was
//     there before and stays: the room, hum, and partials of the program's own sound
//     ([Config].Known).
//  2. Candidates (lags.go), at most 14: the peaks of the autocorrelation of what rises
//     above that floor, the first three deep dips of YIN's difference function, the places
//     where the two best paths were, and octaves and twelfths of the best.
//  3. Description (describe.go, comb.go). Some sixty numbers for each candidate, and as
//     many for the frame: what the lags say, what a comb of harmonics says, how much of
//     the sound it explains, all of it beside the best of the others. Their tables are in
//     features.go. A multinomial logistic model (path.go, weights.go, weights_live.go)
//     turns them into probabilities, of each candidate and of nobody singing. It has no
//     layers: one weighted sum a candidate.
//  4. Path (path.go). Viterbi through candidates and silence, with costs for moving,
//     jumping and voicing. The readings differ in when a frame is decided: [Offline] by at
//     least 3 s of what follows, or the end; [Settled] by 60 ms; [Live] as soon as it is
//     clear, on windows that end 10 ms after the centre.
//     Where it is asked for ([Config].Estimates), a second path, without silence, tells the
//     likeliest pitch of frames that are not voiced (estimate.go).
//     The tails of rooms are taken out of it (tail.go).
//     Where a note begins and ends is then put right from the samples (edges.go): a
//     window about such a frame is half empty, and says little.
//  5. Refinement (refine.go). The winner's frequency is read from the phases of up to
//     eight harmonics, weighted by power over noise, over whole periods about the centre.
//     On steady tones it scatters little more than the Cramér-Rao bound allows, which a
//     test holds it to. The standard error is what the harmonics say themselves: noise
//     turns the slopes of their phases and of their levels by as much.
//
// A [Segmenter] cuts the points into notes (note.go) and measures them (measure.go,
// vibrato.go). That of melodies also begins a note where the flux of the spectrum says so
// (onset.go), at the place where people would mark it, which is where the vowel and its
// pitch have come (place.go), and ends it where its level has sunk by 6 dB, if only for
// the dip before the next one.
//
// The weights are fitted by make weights on sounds made for it, in
// internal/testkit/training, by another synthesiser than that of the sounds the tracker
// is measured on; those of onsets on real singing. Features and constants were chosen on those and on the development half
// of the latter.
//
// # Where YIN is
//
// YIN's difference function (de Cheveigné & Kawahara 2002) is on the live path: the
// tracker works it out for every frame, over windows as long as the period that lie
// symmetrically about the frame's centre (difference, in lags.go). Its first deep dips
// are candidates, and its depth at a candidate's period, at half of it and twice, is among
// what the model is told. The rest of YIN is not: no cumulative mean, no threshold, and
// no parabola as the last word on the frequency.
//
// The plain method, with one change to its choice of a dip, is [Estimator] (yin.go), to
// measure the tracker beside; the tracker does not use it. A test compares its difference
// function, by transforms, with the sum as the paper writes it (yin_slow.go), which
// stays in the tree for that.
//
// # Transforms
//
// The tracker and the company finder have a real transform of their own (fft.go): of what
// is asked for, powers and the transform of an even sequence, it does no more, and it
// takes about a fifth of the time of gonum's, which it is tested against. gonum's transform
// (dsp/fourier) is in use in Estimator; outside the package, in the matched filter of the
// calibration. go-dsp serves the tests of this package as another second opinion; its code
// runs only in calibration, for the spectrum of a room: it allocates and starts
// goroutines, and has no place on the way of the sound.
//
// # Why it is so
//
//   - Noise is not what limits a tracker, wrong candidates are: so many of them, weighed
//     by all that is known, and the fine work on the winner alone.
//   - A room's tail is periodic and falls evenly. A level that falls after a drop, at the
//     pace of a room, is no voice; less so where levels were heard to fall faster. A second
//     floor for each bin, of what earlier frames leave in the room, brought nothing.
//     What only the frames that follow show, a long even fall, is cut off after the path
//     is known (tail.go). It costs notes where it begins less than 10 dB under the note.
//   - A formant that rings on between irregular pulses repeats better than the voice does:
//     a candidate pays for being the third or a higher harmonic of one whose partials are
//     there (overtoneCost). Features for it did no better in one trial fit, on a quarter of
//     the clips and with other sounds among them; nothing more was tried.
//   - Beside digital silence ratios to noise and rises of the level are boundless, and the
//     first and last frames of a note were lost; so both have a bound.
//   - Hum is only what does not repeat faster than 130 Hz: a quiet held note was taken for
//     it. In hum, the harmonics' ratios to the noise are averaged, not their powers, so that
//     one that stands clear does not speak for all; and the model is told what lies between
//     the harmonics of a candidate three or five times too high.
//   - Half of the frames in training have no voice; whoever listens to singing meets fewer,
//     so a voice is taken to be likelier than that.
//   - More creak in training made more octave errors elsewhere.
//   - Where every second pulse is late, frames show two pitches in turn. A note that turns
//     back so often is measured by the middle between them (alternates, in measure.go).
//   - Of the time, about a fifth goes to the refinement, a fifth to the transforms, a
//     seventh each to the difference function and the loop over the bins, a tenth to the
//     half-band stages. Inner loops gain from being functions of their own, where their sums
//     stay in registers; the loop over the bins loses by being parted.
//
// Short of what was hoped for: tails of rooms whose reverberation takes a second, and the
// first 10 dB of any; low voices in noise as strong as they are, above all where it falls
// with frequency; creaky voices in rooms, now and then on the fifth harmonic; notes
// repeated on one vowel, whose onsets leave nothing to see. A talker far away is a voice, to this tracker as to any.
package pitch

// Version names the estimator. It changes whenever the same samples may give
// another note, so that what was kept of an answer says how it was measured.
// TestGoldenNotes holds it to that.
const Version = "pitch 4"
