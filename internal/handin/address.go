package handin

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"

	"singback/internal/plain"
)

// Address is a folder on a WebDAV server, and who enters it.
type Address struct {
	folder   *url.URL // its path ends in "/"; no user, query or fragment
	User     string   // "" asks as nobody
	Password string
}

// ParseAddress reads the address of a folder. Only https is taken, and http on this
// computer itself; with withoutTLS http to anywhere. A user in it is taken over; a
// password is refused, since addresses are shown and kept.
func ParseAddress(text string, withoutTLS bool) (Address, error) {
	var a Address
	u, err := url.Parse(strings.TrimSpace(text))
	if err != nil {
		// What url says holds the address, and that may hold a password.
		return a, errors.New("it is no address; want one like https://example.org/dav/class/")
	}
	if _, ok := u.User.Password(); ok {
		return a, errors.New("a password does not belong in an address, which is shown and kept")
	}
	switch {
	case u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.Hostname() == "":
		return a, fmt.Errorf("%q is no address; want one like https://example.org/dav/class/", plain.Short(text))
	case strings.Trim(strings.ToLower(u.Host), "abcdefghijklmnopqrstuvwxyz0123456789.-:[]") != "":
		return a, fmt.Errorf("%q: that is no name of a host; one with other letters is written with xn--", plain.Short(u.Host))
	case u.RawQuery != "" || u.Fragment != "" || u.ForceQuery:
		return a, fmt.Errorf("%q: the address of a folder has no ? and no #", plain.Short(text))
	case strings.ContainsFunc(u.Path, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\\' }),
		strings.Contains(u.Path+"/", "/../"), strings.Contains(u.Path+"/", "/./"):
		return a, fmt.Errorf("%q: that is no path of a folder", plain.Short(text))
	case u.Scheme == "http" && !withoutTLS && !loopback(u.Hostname()):
		return a, fmt.Errorf("%s: over http anybody on the way can read the password and the files; want https", u.Host)
	}
	a.User = u.User.Username()
	path := u.Path
	if !strings.HasSuffix(path, "/") {
		path += "/"
	}
	a.folder = &url.URL{Scheme: u.Scheme, Host: strings.ToLower(u.Host), Path: path}
	return a, nil
}

// loopback tells whether a host is this computer.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// String is the address as it may be shown: without who enters.
func (a Address) String() string {
	if a.folder == nil {
		return ""
	}
	return a.folder.String()
}

// Host is where it is, with the port if it has one of its own.
func (a Address) Host() string {
	if a.folder == nil {
		return ""
	}
	return a.folder.Host
}

// Origin is the scheme and the host, as a browser has it.
func (a Address) Origin() string {
	if a.folder == nil {
		return ""
	}
	return a.folder.Scheme + "://" + a.folder.Host
}

// at is the address of something in the folder; "" is the folder itself.
func (a Address) at(name string) *url.URL {
	u := *a.folder
	u.Path += name
	return &u
}

// below is a folder in the folder.
func (a Address) below(name string) Address {
	a.folder = a.at(name + "/")
	return a
}
