package calib

// TunedFrom finds A4 from the frequencies of notes.
var TunedFrom = tuned
