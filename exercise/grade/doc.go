// Package grade compares a take of a line of notes with the line: [Align] pairs
// sung with written notes, and [Of] says of each written note whether it was
// right, and what the take is worth.
//
// Everything here is pure, as in package exercise: no microphone, screen, disk or
// clock. Time is in seconds of the take, pitch in cents.
//
// # How a take is graded
//
//  1. A recording becomes a pitch curve and sung notes (review.Listen); a curve from a
//     file is cut into notes by dynamic programming over semitones and silence
//     (review.OfCurve). A recorded model becomes a line by the same notes.
//  2. [Align] aligns sung with written notes: exact dynamic programming, the operations
//     of Mongeau and Sankoff and going back, for several transpositions, then again
//     with the key, the drift and the tempo that it shows. Of a line without rhythm
//     pitch and order alone tell which note was meant: there costs are likelihoods,
//     and the key is a state of its own, which may move (align_untimed.go, which no page
//     loads: whatever is graded there has a rhythm).
//  3. curve.go reads the curve as the line, by dynamic programming over notes, frames
//     and lengths: what time each note got in tune, whatever the segmenter made of it.
//     Steps are a fifteenth of the take's usual note, so that a tempo changes nothing.
//     A long line is kept in a band about the alignment.
//  4. Right or wrong of a note comes from 2 and, where it says nothing, from 3, against
//     the key of the whole take, or the line of its drift where that explains at least
//     half of what the notes are off. What the curve has in tune while a sung note
//     sounds that answers another written one is no evidence.
//  5. The score is a sum of faults (measure.go, fault.go). Four amounts come from 3, each a
//     sum over the written notes: what they lack in tune (squared: a missing note is worse
//     than three short ones), and how much of that was passed over and not waited for; how
//     far the times from note to note are off, to the next three; and sound that belongs to
//     no note and takes no note's place. Restarts and drift cost what a teacher may think;
//     the jury's takes have too few to say, and do not charge a drift by itself.
//  6. What a part of the score is called comes from 2 and 4 (blame.go): the notes say
//     what went wrong where, and what the curve has against a note that is right and in
//     time is put to the fault nearest to it, or to nobody's (unclear). So no sentence
//     says what the numbers beside it do not bear out.
//
// # The laws of a score
//
// Whatever else it does, a grade keeps these (laws_test.go: some thousands of made takes,
// of lines of 6 to 16 notes in all models, by seeds that nothing was chosen on):
//
//   - One fault more does not raise the score: of 540 faults one does by more than 0.01, and none
//     by more than 0.02. Nothing is promised where more than a third of the notes are at fault,
//     since then they may be another key.
//   - A fault costs about the same wherever it stands. In the middle line the dearest
//     place but a tenth costs this times the cheapest but a tenth: a note left out 1.0, a wrong
//     one 1.2, one passed over 1.1, a wait 1.1, a note let go early 1.3, one more 1.3, a late
//     one 1.5, one out of tune by 80 cents 1.9. What cannot be told apart is no such fault:
//     the first note passed over, one of two equal ones, one more on a neighbour's pitch.
//   - Three wrong notes cost more than the dearest of them, 1.7 times at least. Three at the
//     end that are a semitone sharp cost more than one wrong note, 2.7 times as much; in one take
//     of twenty 0.7 times, where they agree with a drift before them.
//   - Transposing all, the octave and a uniform tempo cost nothing, unless they are asked for.
//   - A drift costs no less the farther it goes; a semitone about half a wrong note.
//   - A hole, or an octave's leap, of a curve within a held note costs nothing.
//
// A performed model is put on its pulse (performed.go), and a silence with room for a
// note is one where anything may be sung. It stays the worse model, and misses the
// goal: half of the curves lack a note or more, often the highest, which is where
// candidates fail; and of the others a note in thirteen comes out with another length.
//
// make evaluate-jury compares grades with a jury's; its results lie in
// internal/testkit/results. Of one mistake planted in random lines of 7 to 12 notes
// the heaviest fault that is named is that one in 99 to 100 % of 300 lists of notes and
// of 40 takes sung by the model voice; from the beginning again is named so in 88 and
// 90 %, else mostly as notes added (internal/review/fault_test.go, seeds that nothing
// was chosen on). No sentence was contradicted, nor in 1500 takes with two to five
// mistakes, nor in the jury's by any model; of what those lose 1 % is unclear.
//
// Of sight-singing, 406 notes of 8 recordings, right or wrong within 50 cents agrees
// with annotators by a kappa of 0.75, and 80 % of the wrong notes are found. The
// annotated pitches, read off a spectrogram, scatter by some 15 cents, and most of the
// wrong notes lie that near to the border. Against a moving reference most of the wrong
// notes would be excused: singers drift, annotators do not. On 44 more, whose notes people
// cut and put to the written ones, costs of lines without rhythm were chosen with one
// half. On the other, of other melodies, 22 recordings and 922 notes, right or wrong
// within 80 cents agrees in 0.885 (kappa 0.64, 60 % of the wrong notes found); where the
// table is not one note out for six notes and more, in 0.935 of 828 (0.75, 71 %), and 99 %
// of the notes are put to the same sung one. The table's own alignment, with pitches that
// were measured, has 0.949 (0.85, 85 %) and 0.948 (0.80, 78 %): most of what is left is
// annotated and measured pitch on either side of the border.
package grade
