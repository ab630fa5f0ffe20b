package page

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"slices"
	"syscall"

	"singback/calib"
	"singback/internal/kept"
	"singback/internal/store"
)

// data are the requests that are about the singer.
func (s *Server) data() map[string]map[string]handler {
	all := map[string]map[string]handler{
		"data/known":   {http.MethodGet: s.known},
		"data/record":  {http.MethodGet: s.record, http.MethodPost: s.importRecord},
		"data/answers": {http.MethodPost: s.answers},
		"data/profile": {http.MethodPut: s.profile},
	}
	if s.relay != nil {
		all["data/handin"] = map[string]handler{http.MethodPost: s.handIn}
	}
	return all
}

func (s *Server) known(w http.ResponseWriter, r *http.Request) error {
	k, err := s.home.Known()
	if err != nil {
		return err
	}
	if k.Notes == nil {
		k.Notes = []string{}
	}
	return reply(w, k)
}

// reply answers with a record.
func reply(w http.ResponseWriter, record any) error {
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(line(record))
	return nil
}

// record hands out the singer's answers. It reads beside whoever records.
func (s *Server) record(w http.ResponseWriter, r *http.Request) error {
	var b bytes.Buffer
	rec, err := store.ReadRecord(s.home.Record)
	n := 0
	if err == nil {
		defer rec.Close()
		n, err = rec.Export(r.Context(), &b, store.CSV, s.home.Singer)
	}
	switch {
	case err == nil && n == 0, errors.Is(err, fs.ErrNotExist):
		w.WriteHeader(http.StatusNoContent)
		return nil
	case err != nil:
		return err
	}
	return send(w, r, "text/csv; charset=utf-8", `"`+sum(b.Bytes())+`"`, b.Bytes())
}

// The types in which answers come.
var (
	asLines  = []string{"application/x-ndjson", "application/jsonl", "application/json", "text/plain"}
	asExport = append([]string{"text/csv"}, asLines...)
	asTOML   = []string{"application/toml", "text/plain"}
)

// answers puts answers of the singer's into the record.
func (s *Server) answers(w http.ResponseWriter, r *http.Request) error {
	b, err := body(w, r, maxAnswers, asLines...)
	if err != nil {
		return err
	}
	if err := s.theirs(b); err != nil {
		return err
	}
	return s.add(w, r, b)
}

// theirs refuses answers that are no lines of JSON, or of somebody else.
func (s *Server) theirs(b []byte) error {
	lines := bufio.NewScanner(bytes.NewReader(b))
	lines.Buffer(nil, maxAnswers+1)
	for n := 1; lines.Scan(); n++ {
		text := bytes.TrimSpace(lines.Bytes())
		if len(text) == 0 {
			continue
		}
		var one struct {
			Singer string `json:"singer"`
		}
		if err := json.Unmarshal(text, &one); err != nil {
			return store.ImportError{Err: fmt.Errorf("line %d: no JSON object: %w", n, err)}
		}
		if one.Singer != s.home.Singer {
			return store.ImportError{Err: fmt.Errorf("line %d: singer: %.60q; this is the page of %.60q", n, one.Singer, s.home.Singer)}
		}
	}
	return lines.Err()
}

// importRecord puts an export into the record, whoever's it is.
func (s *Server) importRecord(w http.ResponseWriter, r *http.Request) error {
	b, err := body(w, r, maxRecord, asExport...)
	if err != nil {
		return err
	}
	return s.add(w, r, b)
}

// add puts answers into the record. What has come in whole is stored, even if whoever
// sent it does not wait.
func (s *Server) add(w http.ResponseWriter, r *http.Request, b []byte) error {
	s.storing.Lock()
	defer s.storing.Unlock()
	done, err := store.ImportRecord(context.WithoutCancel(r.Context()), s.home.Record, s.home.Now(), bytes.NewReader(b))
	if err != nil {
		return err
	}
	s.added.Add(int64(done.Added))
	return reply(w, struct {
		Read  int `json:"read"`
		Added int `json:"added"`
	}{done.Read, done.Added})
}

// profile keeps what was measured.
func (s *Server) profile(w http.ResponseWriter, r *http.Request) error {
	b, err := body(w, r, maxProfile, asTOML...)
	if err != nil {
		return err
	}
	p, err := kept.DecodeProfile(b)
	if err != nil {
		return refusal{status: http.StatusBadRequest, text: err.Error()}
	}
	s.storing.Lock()
	defer s.storing.Unlock()
	path, err := s.home.Keep(p)
	if err != nil {
		return err
	}
	return reply(w, struct {
		Saved string `json:"saved"`
	}{path})
}

// refusalOf says of an error which status it has and what can be done.
func refusalOf(err error) refusal {
	why := refusal{status: http.StatusInternalServerError, text: err.Error(), hint: store.RecordHint(err)}
	var told refusal
	var ofDesk interface {
		Refusal() (status int, code, text, hint string)
	}
	var bad store.ImportError
	var invalid calib.Invalid
	switch {
	case errors.As(err, &told):
		return told
	case errors.As(err, &ofDesk):
		why.status, why.code, why.text, why.hint = ofDesk.Refusal()
	case errors.As(err, &bad), errors.As(err, &invalid):
		why.status = http.StatusBadRequest
	case errors.Is(err, store.ErrRecordInUse):
		why.status = http.StatusConflict
	case errors.Is(err, store.ErrRecordFull), slices.ContainsFunc(roomErrors, func(e error) bool { return errors.Is(err, e) }):
		why.status = http.StatusInsufficientStorage
		if why.hint == "" {
			why.hint = store.RecordHint(store.ErrRecordFull)
		}
	}
	return why
}

// roomErrors say that there is no room for a profile.
var roomErrors = []error{syscall.ENOSPC, syscall.EDQUOT}
