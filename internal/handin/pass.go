package handin

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"strings"
)

// MaxPass is the largest piece that Pass takes, in bytes.
const MaxPass = usual

// Asked is a request that is passed on for somebody else.
type Asked struct {
	Method string // PROPFIND, PUT, MOVE or GET
	Name   string // in the folder; "" is the folder itself, for PROPFIND alone
	As     string // its new name, for MOVE
	Depth  string // of PROPFIND: "0" or "1"
	Body   []byte // of PUT
}

// Answered is what the server answered: a status, and what it sent if that is one of
// 200 to 299.
type Answered struct {
	Status int
	Body   io.ReadCloser
}

// ErrAsked says that a request is none that is passed on.
var ErrAsked = errors.New("that is nothing that is done in a folder")

// Pass passes a request on to the folder, and to nothing beside or below it. The answer
// of the server is no error, whatever it is, but one that sends on elsewhere is.
func (f *Folder) Pass(ctx context.Context, q Asked) (Answered, error) {
	name := func(s string) bool {
		return s != "" && s != "." && s != ".." && len(s) <= 255 && !strings.ContainsAny(s, "/\\") && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f })
	}
	header := map[string]string{}
	var body content
	switch {
	case q.Method == "PROPFIND" && (q.Name == "" || name(q.Name)) && (q.Depth == "0" || q.Depth == "1"):
		header["Depth"], header["Content-Type"] = q.Depth, "application/xml; charset=utf-8"
		body = content{from: strings.NewReader(wanted), n: int64(len(wanted))}
	case q.Method == http.MethodGet && name(q.Name):
		header["Accept-Encoding"] = "identity"
	case q.Method == http.MethodPut && name(q.Name) && len(q.Body) <= MaxPass:
		header["Content-Type"] = "application/octet-stream"
		body = content{from: bytes.NewReader(q.Body), n: int64(len(q.Body))}
	case q.Method == "MOVE" && name(q.Name) && name(q.As):
		header["Destination"], header["Overwrite"] = f.c.to.at(q.As).String(), "F"
	default:
		return Answered{}, ErrAsked
	}
	r, err := f.c.do(ctx, q.Method, f.c.to.at(q.Name), header, body)
	var t *Trouble
	if errors.As(err, &t) && t.Status > 0 && t.Kind != Elsewhere {
		return Answered{Status: t.Status, Body: http.NoBody}, nil
	}
	if err != nil {
		return Answered{}, err
	}
	return Answered{r.StatusCode, r.Body}, nil
}
