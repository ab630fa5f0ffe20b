package calib

// TunedFrom finds A4 from the frequencies of notes.
var TunedFrom = tuned

// OneWord writes mezzo-soprano as mezzo.
var OneWord = oneWord
