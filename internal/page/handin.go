package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"singback/internal/handin"
)

// What is handed in through the server on this computer: no more than one piece is in
// memory, and a slow network has its time.
const (
	handTime  = 10 * time.Minute
	maxAnswer = 256 << 20 // of a listing, or of a file that is read back
)

// relay is the way from the page to the address that was set at the start.
type relay struct {
	to  handin.Address
	way http.RoundTripper // nil: the network

	one    chan struct{} // holds a value while nobody hands in
	folder *handin.Folder
	user   string
	pass   string // of folder, as long as the server runs
}

func newRelay(to handin.Address, way http.RoundTripper) *relay {
	r := &relay{to: to, way: way, one: make(chan struct{}, 1)}
	r.one <- struct{}{}
	return r
}

// entered is the folder for who asks; the same as before where it is the same, so that
// the server's wish how to be told the password is known already.
func (r *relay) entered(user, pass string) *handin.Folder {
	if r.folder == nil || user != r.user || pass != r.pass {
		to := r.to
		to.User, to.Password = user, pass
		r.folder, r.user, r.pass = handin.Through(to, r.way), user, pass
	}
	return r.folder
}

// handIn passes a request of the page on to the folder; see handin-send.js, relayed. What
// the folder's server answers is told in a header, so that a refusal of it is not taken for one
// of this server.
func (s *Server) handIn(w http.ResponseWriter, r *http.Request) error {
	limits := http.NewResponseController(w)
	_ = limits.SetReadDeadline(time.Now().Add(handTime)) // where it cannot be set there is none
	_ = limits.SetWriteDeadline(time.Now().Add(handTime))
	b, err := body(w, r, handin.MaxPass, "application/octet-stream")
	if err != nil {
		return err
	}
	head := map[string]string{}
	for _, name := range []string{"Method", "Name", "As", "Depth", "User", "Password"} {
		text, err := url.PathUnescape(r.Header.Get("Singback-" + name))
		if err != nil {
			return refusal{status: http.StatusBadRequest, text: "Singback-" + name + " cannot be read"}
		}
		head[name] = text
	}
	ctx, cancel := context.WithTimeout(r.Context(), handTime)
	defer cancel()
	select {
	case <-s.relay.one:
	case <-ctx.Done():
		return nil // whoever asked has gone
	}
	defer func() { s.relay.one <- struct{}{} }()
	got, err := s.relay.entered(head["User"], head["Password"]).Pass(ctx, handin.Asked{
		Method: head["Method"], Name: head["Name"], As: head["As"], Depth: head["Depth"], Body: b,
	})
	var t *handin.Trouble
	switch {
	case errors.Is(err, handin.ErrAsked):
		return refusal{status: http.StatusBadRequest, text: err.Error()}
	case errors.As(err, &t):
		w.Header().Set("Singback-Status", "0")
		return reply(w, struct {
			Kind  handin.Kind `json:"kind"`
			Error string      `json:"error"`
		}{t.Kind, t.Error()})
	case err != nil:
		return err
	}
	defer got.Body.Close()
	w.Header().Set("Singback-Status", strconv.Itoa(got.Status))
	w.Header().Set("Content-Type", "application/octet-stream")
	_, err = io.Copy(w, io.LimitReader(got.Body, maxAnswer))
	if err != nil {
		panic(http.ErrAbortHandler) // so that half of it is not taken for all
	}
	return nil
}
