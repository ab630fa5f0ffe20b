// Package metrics measures a pitch track, or a list of notes, against the
// truth, with the measures of the field as mir_eval 0.7 defines them (Raffel et
// al., ISMIR 2014), so that the numbers can be compared with published ones.
//
// [Align] puts an estimated track on the times of the reference and gives
// [Frame]s; [VoicingRecall], [VoicingFalseAlarm], [RawPitch], [RawChroma] and
// [Overall] are read off them (Poliner et al. 2007; Salamon et al. 2014), and so
// are [GrossErrors], [OctaveErrors] and a [Calibration] table, which are ours.
// [Compare] matches notes one to one (MIREX note tracking; Bay, Ehmann and
// Downie 2009).
//
// Left out: weighted voicing, several pitches at once, the overlap ratio of
// matched notes, which depends on the matching found.
package metrics
