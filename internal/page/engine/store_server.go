package engine

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"

	"singback/calib"
	"singback/exercise/practice"
	"singback/internal/kept"
)

// Fetch asks the server that the page came from: a path below the page, and a body or
// nil. Etag is what was there before, and what there is now.
type Fetch func(ctx context.Context, method, path string, body []byte, etag string) (status int, answer []byte, now string, err error)

// ServerStore keeps everything with the program that serves the page: the record, the
// profile and the course are those of the command line.
type ServerStore struct {
	Fetch Fetch

	mu   sync.Mutex
	etag string // of the answers that were read last
}

var _ Store = (*ServerStore)(nil)

// refused is what the server said of something that it did not do.
type refused struct {
	status int
	text   string
}

func (r refused) Error() string { return r.text }

// Full tells that there is no room left.
func (r refused) Full() bool { return r.status == 507 }

var errNoServer = errors.New("singback no longer runs on this computer: start singback page again, and open the address that it prints")

func (s *ServerStore) ask(ctx context.Context, method, path string, body []byte, into any) error {
	status, answer, _, err := s.Fetch(ctx, method, path, body, "")
	if err != nil {
		return errNoServer
	}
	if status != 200 {
		return refusal(status, answer)
	}
	if err := json.Unmarshal(answer, into); err != nil {
		return fmt.Errorf("what answered is not singback: %w", err)
	}
	return nil
}

// refusal reads why the server refused.
func refusal(status int, answer []byte) error {
	var said struct{ Error, Hint string }
	if json.Unmarshal(answer, &said) != nil || said.Error == "" {
		said.Error = fmt.Sprintf("the page's server answered with status %d", status)
	}
	if said.Hint != "" {
		said.Error += "; " + said.Hint
	}
	return refused{status, said.Error}
}

// Known asks what is known of the singer.
func (s *ServerStore) Known(ctx context.Context) (Known, error) {
	k := Known{Home: "computer", Singer: defaultSinger}
	var said struct {
		Singer, Profile, Course, Record string
		There                           bool
		Notes                           []string
	}
	if err := s.ask(ctx, "GET", "data/known", nil, &said); err != nil {
		return k, err
	}
	k.Singer, k.Course, k.Record, k.There, k.Notes = said.Singer, said.Course, said.Record, said.There, said.Notes
	if said.Profile != "" {
		var err error
		if k.Profile, err = kept.DecodeProfile([]byte(said.Profile)); err != nil {
			k.Notes = append(k.Notes, fmt.Sprintf("The profile is left out: %v", err))
		}
	}
	return k, nil
}

// Answers asks for the singer's answers.
func (s *ServerStore) Answers(ctx context.Context) ([]practice.Answer, int, bool, error) {
	s.mu.Lock()
	before := s.etag
	s.mu.Unlock()
	status, answer, now, err := s.Fetch(ctx, "GET", "data/record", nil, before)
	switch {
	case err != nil:
		return nil, 0, true, errNoServer
	case status == 304:
		return nil, 0, false, nil
	case status == 204:
		return nil, 0, true, nil
	case status != 200:
		return nil, 0, true, refusal(status, answer)
	}
	var all []practice.Answer
	for a, err := range kept.ReadExport(bytes.NewReader(answer)) {
		if err != nil {
			return nil, 0, true, err
		}
		all = append(all, a)
	}
	s.mu.Lock()
	s.etag = now
	s.mu.Unlock()
	return all, 0, true, nil
}

// Export asks for them as they are.
func (s *ServerStore) Export(ctx context.Context, w io.Writer) (n, skipped int, err error) {
	status, answer, _, err := s.Fetch(ctx, "GET", "data/record", nil, "")
	switch {
	case err != nil:
		return 0, 0, errNoServer
	case status == 204:
		return 0, 0, nil
	case status != 200:
		return 0, 0, refusal(status, answer)
	}
	_, err = w.Write(answer)
	return max(0, bytes.Count(answer, []byte("\n"))-1), 0, err
}

// Add sends an answer, and returns when the server has it on disk.
func (s *ServerStore) Add(ctx context.Context, a practice.Answer) error {
	if err := kept.Check(a); err != nil {
		return err
	}
	row := kept.NewRow(a)
	line, err := json.Marshal(&row)
	if err != nil {
		return err
	}
	var done struct{ Read, Added int }
	return s.ask(ctx, "POST", "data/answers", append(line, '\n'), &done)
}

// Import sends an export.
func (s *ServerStore) Import(ctx context.Context, text []byte) (read, added int, err error) {
	var done struct{ Read, Added int }
	err = s.ask(ctx, "POST", "data/record", text, &done)
	return done.Read, done.Added, err
}

// SaveProfile sends a profile.
func (s *ServerStore) SaveProfile(ctx context.Context, p calib.Profile) (string, error) {
	text, err := kept.EncodeProfile(p)
	if err != nil {
		return "", err
	}
	var done struct{ Saved string }
	err = s.ask(ctx, "PUT", "data/profile", text, &done)
	return done.Saved, err
}

// errAtHome is told of what the command line does.
var errAtHome = errors.New("this page keeps everything with singback on this computer: change that there (see singback page --help)")

// Set does nothing: singer and course are chosen where the page is served.
func (s *ServerStore) Set(context.Context, string, string) error { return errAtHome }

// Forget does nothing: the record on the computer is not the page's to delete.
func (s *ServerStore) Forget(context.Context) error { return errAtHome }
