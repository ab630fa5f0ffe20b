// Package hardset makes about 30 minutes of singing that is hard to track, with
// the exact truth beside it: voices from bass to child in noise, hum, rooms,
// beside the tool's own drone, breathy, creaky, bright, with digital silence, gates and
// comfort noise between the notes, and nobody at all.
//
// [Items] renders one [Item] after the other; [Item.At] is the truth at any
// moment. [Grid] renders the steady notes for precision and latency. The two
// halves, [Dev] to develop on and [HeldOut] to judge by, share no melody, voice
// or noise. The same call gives the same samples on one architecture.
//
// The voices are synth's, and a second one here that slurs from note to note.
// All is computed; no recording is used. Nothing here tracks or judges.
//
// # What is true
//
// The truth at a moment is the mean of the fundamental frequency over the 10 ms
// around it: a tracker's frame cannot say more, and jitter from one glottal
// cycle to the next is not pitch. A moment is
//
//   - sung, if the voice sounds throughout those 10 ms and the clean voice is at
//     most 20 dB under its level in the middle of the note;
//   - not sung, if no voice sounds within 15 ms: rests, bursts and hisses of
//     consonants, a room's tail after a note;
//   - open, and not to be counted, otherwise: the first and last few
//     milliseconds of a note.
//
// The rule looks at the clean voice only, so it is the same in noise.
//
// Where an editor, a gate or a codec let nothing of the microphone through, nothing
// is sung, to the sample. Beside such an edge a moment is sung if its centre sounds:
// the mean and the level are those of what was let through, so that a frame that is
// half cut away counts in full, as it does for a listener to the recording. What a
// gate took of a note is not sung: its Note begins and ends where it is heard to.
package hardset
