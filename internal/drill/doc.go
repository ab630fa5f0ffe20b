// Package drill is a drill without a terminal: options as plain values, what is asked,
// who answers, what is kept, today's sitting, and the events as the records that
// programs read. The terminal, the recordings and the tests run the same [Run] and
// differ in who brings the sound, keeps the answers and shows the events.
//
// Options are defined once, with AddFlags on [Flags], for the command line and for the
// addresses of a page: [ReadAddress]. Mistakes in them are a [Wrong], which names the
// option by the word of the command line. The package opens no file and no device, and
// reads no clock: all of that is given to it. It builds for GOOS=js GOARCH=wasm with all
// below it.
package drill
