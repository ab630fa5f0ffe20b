package handin

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"syscall"
	"time"

	"singback/internal/plain"
)

// Kind says what went wrong, for whoever acts on it.
type Kind string

// What goes wrong. The words are those that the page has too.
const (
	Password   Kind = "password"   // wrong, or none was given (401)
	Forbidden  Kind = "forbidden"  // who came in may not do this (403)
	NoFolder   Kind = "no-folder"  // 404, 409, 410
	NotWebDAV  Kind = "not-webdav" // what is there is no folder of that kind
	TooLarge   Kind = "too-large"  // 413
	Full       Kind = "full"       // 507
	Locked     Kind = "locked"     // 423
	Elsewhere  Kind = "elsewhere"  // the server sends on to another address
	NoTLS      Kind = "tls"        // nobody can be sure who is there
	Gone       Kind = "gone"       // not reached, or the connection broke
	Failed     Kind = "failed"     // the server says that it failed, or answers oddly
	Changed    Kind = "changed"    // the file was changed while it was sent
	taken      Kind = "taken"      // 412: something of that name is there
	notAllowed Kind = "not-allowed"
)

// Trouble is an error of the server or of the way to it: one line that says what was
// wrong and what can be done. There is never a password in it.
type Trouble struct {
	Kind   Kind
	Status int // of HTTP; 0 is none
	text   string
	err    error
	after  time.Duration // as the server asks
}

func (t *Trouble) Error() string { return t.text }
func (t *Trouble) Unwrap() error { return t.err }

// passes tells whether a trouble may be over in a while.
func (t *Trouble) passes() bool {
	switch t.Kind {
	case Gone, Locked:
		return true
	case Failed:
		return t.Status == 0 || t.Status == http.StatusRequestTimeout || t.Status == http.StatusTooManyRequests || t.Status >= 500 && t.Status != http.StatusNotImplemented
	}
	return false
}

// isKind tells whether an error is a trouble of a kind.
func isKind(err error, kinds ...Kind) bool {
	var t *Trouble
	if !errors.As(err, &t) {
		return false
	}
	for _, k := range kinds {
		if t.Kind == k {
			return true
		}
	}
	return false
}

// Interrupted is the error of a file that was sent in part.
type Interrupted struct {
	Have, Of int // pieces that have come
	Err      error
}

func (e *Interrupted) Error() string {
	return fmt.Sprintf("%s; %d of %d pieces have come: the same again goes on from there", why(e.Err), e.Have, e.Of)
}
func (e *Interrupted) Unwrap() error { return e.Err }

func why(err error) string {
	if errors.Is(err, context.Canceled) {
		return "stopped"
	}
	return err.Error()
}

// refused says what an answer of the server means that is no success.
func (c *client) refused(method string, r *http.Response) error {
	t := &Trouble{Status: r.StatusCode, Kind: Failed}
	host, status := c.to.Host(), r.StatusCode
	who := "whoever is not named"
	if c.to.User != "" {
		who = plain.Short(c.to.User)
	}
	switch {
	case status == http.StatusUnauthorized && c.to.User == "":
		t.Kind, t.text = Password, fmt.Sprintf("%s wants a name and a password (401)", host)
	case status == http.StatusUnauthorized:
		t.Kind, t.text = Password, fmt.Sprintf("%s: the name or the password is wrong (401)", host)
	case status == http.StatusForbidden:
		t.Kind, t.text = Forbidden, fmt.Sprintf("%s does not let %s do this in that folder (403): ask whoever set it up", host, who)
	case status == http.StatusNotFound, status == http.StatusConflict, status == http.StatusGone:
		t.Kind, t.text = NoFolder, fmt.Sprintf("there is no folder at %s (%d): ask for the address anew", c.to, status)
	case status == http.StatusPreconditionFailed:
		t.Kind, t.text = taken, "something of that name is there already (412)"
	case status == http.StatusRequestEntityTooLarge:
		t.Kind, t.text = TooLarge, fmt.Sprintf("%s takes no file of that size (413): send a shorter one, or ask whoever set it up", host)
	case status == http.StatusInsufficientStorage:
		t.Kind, t.text = Full, fmt.Sprintf("there is no room left at %s (507): tell whoever set it up", host)
	case status == http.StatusLocked:
		t.Kind, t.text = Locked, fmt.Sprintf("%s: somebody holds that locked (423): try again in a while", host)
	case status >= 300 && status < 400:
		t.Kind, t.text = Elsewhere, c.elsewhere(r)
	case method == "PROPFIND" && (status == http.StatusMethodNotAllowed || status == http.StatusNotImplemented || status == http.StatusBadRequest || status == http.StatusUnsupportedMediaType || status < 300):
		t.Kind, t.text = NotWebDAV, fmt.Sprintf("what is at %s is no WebDAV folder (%d): ask for the address anew", c.to, status)
	case status == http.StatusMethodNotAllowed, status == http.StatusNotImplemented:
		t.Kind, t.text = notAllowed, fmt.Sprintf("%s does not allow that here (%d)", host, status)
	case status == http.StatusInternalServerError:
		t.text = fmt.Sprintf("%s: the server failed (500): it may be full, or may not write there; try again in a while, and tell whoever set it up", host)
	case status >= 500:
		t.text = fmt.Sprintf("%s: the server failed (%d): try again in a while, and tell whoever set it up", host, status)
	default:
		t.text = fmt.Sprintf("%s answered something odd (%d)", host, status)
	}
	if s, err := time.ParseDuration(r.Header.Get("Retry-After") + "s"); err == nil {
		t.after = min(max(s, 0), time.Minute)
	}
	return t
}

// elsewhere says where a server sends on to.
func (c *client) elsewhere(r *http.Response) string {
	to, err := r.Location()
	if err != nil {
		return fmt.Sprintf("%s sends on to nowhere (%d)", c.to.Host(), r.StatusCode)
	}
	shown := url.URL{Scheme: to.Scheme, Host: to.Host, Path: to.Path}
	return fmt.Sprintf("%s sends on to %s (%d), where nothing was sent: give that address, if you trust it", c.to.Host(), plain.Short(shown.String()), r.StatusCode)
}

// broken says what an error of the way to the server means.
func (c *client) broken(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	host := c.to.Host()
	t := &Trouble{Kind: Gone, err: err}
	var name x509.HostnameError
	var by x509.UnknownAuthorityError
	var invalid x509.CertificateInvalidError
	var verify *tls.CertificateVerificationError
	var record tls.RecordHeaderError
	var alert tls.AlertError
	var dns *net.DNSError
	switch {
	case errors.As(err, &name):
		t.Kind, t.text = NoTLS, fmt.Sprintf("%s: its certificate is for another name: ask for the address anew", host)
	case errors.As(err, &by):
		t.Kind, t.text = NoTLS, fmt.Sprintf("%s: nobody known vouches for its certificate: nothing was sent; a school's own authority goes into the system's certificates", host)
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		t.Kind, t.text = NoTLS, fmt.Sprintf("%s: its certificate has expired, or the clock of this computer is wrong: nothing was sent", host)
	case errors.As(err, &verify), errors.As(err, &invalid):
		t.Kind, t.text = NoTLS, fmt.Sprintf("%s: its certificate is not valid: nothing was sent", host)
	case errors.As(err, &record), errors.As(err, &alert), strings.Contains(err.Error(), "server gave HTTP response to HTTPS client"):
		t.Kind, t.text = NoTLS, fmt.Sprintf("%s speaks no TLS there: nothing was sent; ask for the address anew", host)
	case errors.As(err, &dns) && dns.IsNotFound:
		t.text = fmt.Sprintf("there is no host %s, or no network here", host)
	case errors.Is(err, syscall.ECONNREFUSED):
		t.text = fmt.Sprintf("%s cannot be reached: nobody answers there", host)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE), errors.Is(err, net.ErrClosed):
		t.text = fmt.Sprintf("the connection to %s broke", host)
	case errors.Is(err, errStalled):
		t.text = fmt.Sprintf("the connection to %s stands still", host)
	default:
		var n net.Error
		if errors.As(err, &n) && n.Timeout() {
			t.text = fmt.Sprintf("%s does not answer in time", host)
			break
		}
		t.text = fmt.Sprintf("the connection to %s broke", host)
	}
	return t
}

var errStalled = errors.New("nothing has moved for a minute")
