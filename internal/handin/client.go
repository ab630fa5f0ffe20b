package handin

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/icholy/digest"
)

// client speaks with one folder's server.
type client struct {
	to   Address
	http http.RoundTripper
	wait func(context.Context, time.Duration) error

	known sync.Mutex
	asked *digest.Challenge // how the server wants the password, where it is by Digest
	times int               // the challenge was answered
	basic bool
}

// transport is the way to all servers.
var transport = sync.OnceValue(func() http.RoundTripper {
	return &http.Transport{
		Proxy:       http.ProxyFromEnvironment,
		DialContext: (&net.Dialer{Timeout: 15 * time.Second, KeepAlive: 15 * time.Second}).DialContext,

		TLSHandshakeTimeout: 15 * time.Second, ResponseHeaderTimeout: time.Minute, ExpectContinueTimeout: 2 * time.Second,
		IdleConnTimeout: time.Minute, MaxIdleConnsPerHost: 2, DisableCompression: true,
		MaxResponseHeaderBytes: 64 << 10,
	}
})

func newClient(to Address) *client { return &client{to: to, http: transport(), wait: wait} }

// wait waits, unless the context ends.
func wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// content is what a request carries; the zero value is nothing.
type content struct {
	from io.ReaderAt
	at   int64
	n    int64
	read func(n int) // is told how much was taken
}

// stall is how long nothing may move.
const stall = time.Minute

// do makes a request for something in the folder, and hands out the answer where it is
// a success. It may be made twice, if the server asks for the password anew.
func (c *client) do(ctx context.Context, method string, to *url.URL, header map[string]string, body content) (*http.Response, error) {
	for try := 0; ; try++ {
		inside, cancel := context.WithCancelCause(ctx)
		watch := time.AfterFunc(stall, func() { cancel(errStalled) })
		end := func() { watch.Stop(); cancel(nil) }
		r, err := http.NewRequestWithContext(inside, method, to.String(), nil)
		if err != nil {
			end()
			return nil, err
		}
		r.Header.Set("User-Agent", "singback")
		for name, value := range header {
			r.Header.Set(name, value)
		}
		if body.from != nil {
			r.ContentLength = body.n
			if body.n > 0 {
				r.Body = io.NopCloser(&moving{io.NewSectionReader(body.from, body.at, body.n), func(n int) {
					watch.Reset(stall)
					if body.read != nil {
						body.read(n)
					}
				}})
				r.Header.Set("Expect", "100-continue") // a refusal comes before the file goes
			}
		}
		c.authorize(r)
		got, err := c.http.RoundTrip(r)
		if err != nil {
			if ctx.Err() == nil && errors.Is(context.Cause(inside), errStalled) {
				err = errStalled
			}
			end()
			return nil, c.broken(ctx, err)
		}
		if got.StatusCode/100 == 2 {
			got.Body = &closing{Reader: &moving{got.Body, func(int) { watch.Reset(stall) }}, body: got.Body, end: end}
			return got, nil
		}
		again := got.StatusCode == http.StatusUnauthorized && try == 0 && c.learn(got.Header)
		_, _ = io.CopyN(io.Discard, got.Body, 64<<10)
		got.Body.Close()
		end()
		if !again {
			return nil, c.refused(method, got)
		}
	}
}

// moving tells of each part that is read.
type moving struct {
	io.Reader
	told func(n int)
}

func (m *moving) Read(p []byte) (int, error) {
	n, err := m.Reader.Read(p)
	m.told(n)
	return n, err
}

// closing ends what belongs to a body with it.
type closing struct {
	io.Reader
	body io.Closer
	end  func()
}

func (c *closing) Close() error {
	err := c.body.Close()
	c.end()
	return err
}

// learn takes from a refusal how the server wants the password; false where that was
// known, and so the password is wrong. Digest is preferred, which does not show it.
func (c *client) learn(h http.Header) bool {
	c.known.Lock()
	defer c.known.Unlock()
	if c.to.User == "" {
		return false
	}
	if asked, err := digest.FindChallenge(h); err == nil {
		if c.asked != nil && !asked.Stale && c.times <= 1 {
			return false
		}
		c.asked, c.times = asked, 0
		return true
	}
	for _, line := range h.Values("WWW-Authenticate") {
		if scheme, _, _ := strings.Cut(strings.TrimSpace(line), " "); strings.EqualFold(scheme, "Basic") && !c.basic && c.asked == nil {
			c.basic = true
			return true
		}
	}
	return false
}

// authorize says with a request who asks, as the server wanted to know it.
func (c *client) authorize(r *http.Request) {
	c.known.Lock()
	defer c.known.Unlock()
	switch {
	case c.basic:
		r.SetBasicAuth(c.to.User, c.to.Password)
	case c.asked != nil:
		c.times++
		said, err := digest.Digest(c.asked, digest.Options{
			Method: r.Method, URI: r.URL.RequestURI(), Count: c.times, Username: c.to.User, Password: c.to.Password,
			GetBody: func() (io.ReadCloser, error) { return http.NoBody, nil },
		})
		if err == nil {
			r.Header.Set("Authorization", said.String())
		}
	}
}

// Waits between tries: they grow, and are over after half a minute.
var waits = []time.Duration{time.Second, 2 * time.Second, 4 * time.Second, 8 * time.Second, 16 * time.Second}

// fewer tries do where a server says that it failed itself (500): Apache says so where
// it may not write.
const fewer = 2

// again does something until it succeeds, fails for good, or has failed too often.
func (c *client) again(ctx context.Context, told func(wait time.Duration, err error), do func() error) error {
	for try := 0; ; try++ {
		err := do()
		var t *Trouble
		if err == nil || !errors.As(err, &t) || !t.passes() || try == len(waits) || t.Status == http.StatusInternalServerError && try == fewer {
			return err
		}
		d := max(waits[try], t.after)
		if told != nil {
			told(d, err)
		}
		if err := c.wait(ctx, d); err != nil {
			return err
		}
	}
}

// entry is something that lies in a folder.
type entry struct {
	name     string // as the server has it, decoded
	folder   bool
	size     int64 // -1 where the server does not say
	etag     string
	modified time.Time
}

// What a listing may be: a server that goes on and on fills no memory.
const (
	maxListing = 256 << 20
	maxEntries = 500_000
)

// wanted asks for the properties that matter (RFC 4918, 9.1 and 15).
const wanted = `<?xml version="1.0" encoding="utf-8"?>` + "\n" +
	`<propfind xmlns="DAV:"><prop><resourcetype/><getcontentlength/><getlastmodified/><getetag/></prop></propfind>` + "\n"

// list says what lies in the folder, in the server's order.
func (c *client) list(ctx context.Context) (list []entry, err error) {
	all, err := c.find(ctx, c.to.at(""), "1")
	if err != nil {
		return nil, err
	}
	self := c.to.folder.Path
	there := false
	for _, e := range all {
		there = there || strings.TrimSuffix(e.name, "/") == strings.TrimSuffix(self, "/")
	}
	if !there && len(all) > 0 { // a server behind another, which sees other paths
		self = all[0].name
		for _, e := range all {
			if len(e.name) < len(self) {
				self = e.name
			}
		}
	}
	self = strings.TrimSuffix(self, "/") + "/"
	for _, e := range all {
		name, ok := strings.CutPrefix(e.name, self)
		name = strings.TrimSuffix(name, "/")
		if !ok || name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/\\\x00") {
			continue // the folder itself, or none of its things
		}
		e.name = name
		list = append(list, e)
	}
	return list, nil
}

// stat says what something in the folder is; [NoFolder] where it is not.
func (c *client) stat(ctx context.Context, name string) (entry, error) {
	all, err := c.find(ctx, c.to.at(name), "0")
	if err != nil {
		return entry{}, err
	}
	if len(all) == 0 {
		return entry{}, &Trouble{Kind: Failed, Status: http.StatusMultiStatus, text: c.to.Host() + " answered something odd (207 without an entry)"}
	}
	return all[0], nil
}

// find makes a PROPFIND. The names of the entries are whole paths.
func (c *client) find(ctx context.Context, at *url.URL, depth string) (all []entry, err error) {
	r, err := c.do(ctx, "PROPFIND", at, map[string]string{"Depth": depth, "Content-Type": "application/xml; charset=utf-8"},
		content{from: strings.NewReader(wanted), n: int64(len(wanted))})
	if err != nil {
		return nil, err
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusMultiStatus {
		return nil, c.refused("PROPFIND", r)
	}
	return c.entries(ctx, io.LimitReader(r.Body, maxListing), at)
}

// multistatus is the part of an answer (RFC 4918, 14.24) that is read.
type multistatus struct {
	Href     string `xml:"DAV: href"`
	Propstat []struct {
		Status string `xml:"DAV: status"`
		Prop   struct {
			Type struct {
				Collection *struct{} `xml:"DAV: collection"`
			} `xml:"DAV: resourcetype"`
			Length   string `xml:"DAV: getcontentlength"`
			Modified string `xml:"DAV: getlastmodified"`
			ETag     string `xml:"DAV: getetag"`
		} `xml:"DAV: prop"`
	} `xml:"DAV: propstat"`
}

// entries reads the answer to a PROPFIND, one entry at a time. An entry that cannot be
// read is left out, and no reason to show none.
func (c *client) entries(ctx context.Context, in io.Reader, at *url.URL) (all []entry, err error) {
	x := xml.NewDecoder(in)
	known := false // it is an answer to a PROPFIND
	for {
		token, err := x.Token()
		if errors.Is(err, io.EOF) && known {
			return all, nil
		}
		var syntax *xml.SyntaxError
		if errors.As(err, &syntax) || errors.Is(err, io.EOF) {
			return nil, &Trouble{Kind: NotWebDAV, text: fmt.Sprintf("what is at %s does not answer as a WebDAV folder does: ask for the address anew", c.to)}
		}
		if err != nil {
			return nil, c.broken(ctx, err)
		}
		start, ok := token.(xml.StartElement)
		if !ok || start.Name.Space != "DAV:" {
			continue
		}
		known = known || start.Name.Local == "multistatus"
		if !known || start.Name.Local != "response" {
			continue
		}
		var m multistatus
		if err := x.DecodeElement(&m, &start); err != nil {
			return nil, c.broken(ctx, err)
		}
		if e, ok := entryOf(&m, at); ok {
			all = append(all, e)
		}
		if len(all) > maxEntries {
			return nil, &Trouble{Kind: Failed, Status: http.StatusMultiStatus, text: fmt.Sprintf("more than %d files in one folder of %s: put them into several", maxEntries, c.to.Host())}
		}
	}
}

// entryOf is an entry of an answer; its name is the whole path.
func entryOf(m *multistatus, at *url.URL) (e entry, ok bool) {
	u, err := at.Parse(strings.TrimSpace(m.Href))
	if err != nil || u.Path == "" {
		return e, false
	}
	e.name, e.size = u.Path, -1
	for _, p := range m.Propstat {
		if p.Status != "" && !strings.Contains(p.Status, " 200") {
			continue
		}
		e.folder = e.folder || p.Prop.Type.Collection != nil
		if n, err := strconv.ParseInt(strings.TrimSpace(p.Prop.Length), 10, 64); err == nil && n >= 0 {
			e.size = n
		}
		if t, err := http.ParseTime(strings.TrimSpace(p.Prop.Modified)); err == nil {
			e.modified = t
		}
		if tag := strings.TrimSpace(p.Prop.ETag); len(tag) <= 256 {
			e.etag = tag
		}
	}
	return e, true
}

// read gets what something in the folder holds, from a place on; whole tells that the
// server sent it from its beginning instead. etag, if there is one, is that of the
// listing: where the server shows another one now, it is [Changed]. If-Range would ask
// for that too, but lighttpd has an ETag in its listings and none in its answers, and
// would always begin anew.
func (c *client) read(ctx context.Context, name string, from int64, etag string) (in io.ReadCloser, whole bool, err error) {
	header := map[string]string{"Accept-Encoding": "identity"}
	if from > 0 {
		header["Range"] = fmt.Sprintf("bytes=%d-", from)
	}
	r, err := c.do(ctx, http.MethodGet, c.to.at(name), header, content{})
	if err != nil {
		return nil, false, err
	}
	if now := r.Header.Get("ETag"); strings.HasPrefix(now, `"`) && strings.HasPrefix(etag, `"`) && now != etag {
		r.Body.Close()
		return nil, false, &Trouble{Kind: Changed, text: "it was changed meanwhile: fetch again"}
	}
	if r.StatusCode == http.StatusPartialContent && from > 0 && strings.HasPrefix(r.Header.Get("Content-Range"), fmt.Sprintf("bytes %d-", from)) {
		return r.Body, false, nil
	}
	if r.StatusCode != http.StatusOK {
		r.Body.Close()
		return nil, false, c.refused(http.MethodGet, r)
	}
	return r.Body, true, nil
}

// put sends a piece.
func (c *client) put(ctx context.Context, name string, body content) error {
	if body.n == 0 {
		body.from = bytes.NewReader(nil)
	}
	r, err := c.do(ctx, http.MethodPut, c.to.at(name), map[string]string{"Content-Type": "application/octet-stream"}, body)
	if err != nil {
		return err
	}
	return r.Body.Close()
}

// move gives something in the folder another name, unless there is something of it.
func (c *client) move(ctx context.Context, name, as string) error {
	r, err := c.do(ctx, "MOVE", c.to.at(name), map[string]string{"Destination": c.to.at(as).String(), "Overwrite": "F"}, content{})
	if err != nil {
		return err
	}
	return r.Body.Close()
}
