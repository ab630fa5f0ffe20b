// Package sheet sets what is known of a class on paper: the picture of a take's pitch
// against its line, the sheet of a student, the table of a class, and the rows for other
// programs.
//
// Everything here is pure: values in, bytes out. Nothing is opened, no clock is read,
// and a page fetches nothing. [Picture] is one take; [Student] is what one student gets,
// and holds nothing of another one; [Table] is for the teacher. What goes into them is
// put together by internal/desk.
package sheet
