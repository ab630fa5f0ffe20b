// Package engine is the half of the page that hears, asks and judges: it runs in a
// worker of the browser, compiled for js/wasm, and is the same code that the command
// line runs. The other half draws what it is told and sends what is pressed.
//
// [New] makes an [Engine], [Engine.Do] takes what the page says ([Command]); whatever
// comes back goes through [Host.Post], a message each, in order. Sound comes in through
// a [Mic] and goes out through a [Speaker], which whoever hosts the engine connects
// with the browser's; what is kept is kept by a [Store]. The package knows no browser,
// so all of it runs in tests.
package engine
