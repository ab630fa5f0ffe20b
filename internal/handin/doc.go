// Package handin sends files to a folder on a WebDAV server and fetches what lies in
// one (RFC 4918), as schools' clouds have them. [Folder.Send] and [Fetch] are the calls
// that most users need.
//
// # What lies in the folder
//
// A file of up to 4 MiB is sent as one piece, read back, compared and then moved to
// its own name: nobody ever sees half of it there. A larger one is sent in pieces of
// 4 MiB, since plain servers know no partial PUT (RFC 9110, 14.5, leaves it to them
// what they make of a Content-Range), and stays in pieces, which Fetch joins; so does
// a small one where the server lets nothing be moved. A server that takes no 4 MiB at
// once (413) gets pieces of 1 MiB. The name of a piece is
//
//	NAME.ID-SIZE.003-of-005.part
//
// with the file's size in bytes and its ID: the first 16 hexadecimal digits of the
// SHA-256 of the SHA-256s of its blocks of 1 MiB, in their order. So that the pieces
// of two files of one name are never mixed, what was sent is found again by whoever
// sends the same file, and what was joined is known to be what was sent. By hand,
// "cat NAME.*.part >NAME" joins them.
//
// A piece is there when a file of its name has its size. What has come is not sent
// again, whether the connection broke or the program was ended. A file of the same
// name and other content is never replaced: the new one gets a number.
//
// # What is kept
//
// Fetch has a file .singback-fetched.jsonl in its folder: a line for each file that
// has come, with its ETag, size and time. What is there with the same ETag, or where
// there is none the same size and time, is not fetched again, and what was fetched is never
// replaced: a file that changed on the server comes beside it with a number. What has
// come in part is gone on with by a Range, where the server knows it.
//
// # Who may read what
//
// Only TLS is spoken, but on this computer itself, or where the caller says otherwise.
// A redirection is never followed, so that no password goes to another host. The
// password is in an Address and nowhere else: not in any error or text of it, and
// never on disk. Names from a server are hostile: they are checked, and no file is
// written outside the folder. Memory does not grow with the size of files.
//
// PROPFIND, PUT, GET with a Range and MOVE are made of net/http here. The libraries
// that were tried lack what this needs: one takes no context and may hold a whole file
// in memory when it asks again with a password, the other ends a listing at the first entry
// that lacks something and hides the status of an error. Digest authentication
// (RFC 7616) is a library's.
package handin
