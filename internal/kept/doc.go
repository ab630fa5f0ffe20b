// Package kept is what is kept of singers, as text: an answer as a row of a table, a
// line of JSON or of CSV, and a profile as TOML. It opens nothing; what lies on a disk
// is the business of internal/store, which keeps the same rows in tables, and what lies
// in a browser is that of the page.
//
// [Check] and [NewRow], and [Reader.Answer] for the way back, are what all ways of
// keeping an answer share. [ReadExport] and [WriteExport] are the record as a file that
// people hand on, [EncodeLine] and [Reader.Line] an answer as it is kept by itself,
// [EncodeProfile] and [DecodeProfile] the profile. [PracticeOf] and [ProgressOf] work
// out what answers say, wherever they come from.
//
// All text from outside is hostile: it is bounded, checked, and refused with one line
// that names the place.
package kept
