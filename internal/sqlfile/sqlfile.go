// Package sqlfile opens a file of SQLite: the one place that knows the driver. What
// is in the file is the business of who opens it.
package sqlfile

import (
	"database/sql"
	"errors"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

// Primary result codes of SQLite (sqlite.org/rescode.html).
const (
	Error      = 1
	Busy       = 5
	ReadOnly   = 8
	IOErr      = 10
	Corrupt    = 11
	Full       = 13
	CantOpen   = 14
	TooBig     = 18
	Constraint = 19
	Mismatch   = 20
	Format     = 24
	NotADB     = 26
)

// Code returns the primary result code of an error, 0 if it has none.
func Code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// Words are what SQLite says of an error, on one line and without its number.
func Words(err error) string {
	s := strings.Join(strings.Fields(err.Error()), " ")
	if i := strings.LastIndex(s, " ("); i > 0 && strings.HasSuffix(s, ")") {
		s = s[:i]
	}
	return s
}

// Open opens one connection to a file. The query is that of a URI of SQLite: mode is
// ro, rw or rwc, each _pragma is one.
func Open(path string, query url.Values) (*sql.DB, error) {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // a drive letter
	}
	u := url.URL{Scheme: "file", Path: slashed, RawQuery: query.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	db.SetMaxIdleConns(1)
	db.SetConnMaxLifetime(0)
	if err := db.Ping(); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}
