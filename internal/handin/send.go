package handin

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"time"

	"golang.org/x/text/unicode/norm"
)

// Folder is a folder on a server that files are sent to. It may be used by one
// goroutine at a time.
type Folder struct{ c *client }

// Open returns the folder at an address. Nothing is sent yet.
func Open(to Address) *Folder { return &Folder{newClient(to)} }

// Through returns the folder at an address that is reached by another way than the
// network's.
func Through(to Address, way http.RoundTripper) *Folder {
	f := Open(to)
	if way != nil {
		f.c.http = way
	}
	return f
}

// Progress says how a file fares.
type Progress struct {
	Name        string
	Done, Total int64         // bytes; Total is -1 where it is not known
	Wait        time.Duration // until the next try, after Err; 0 where all is well
	Err         error
}

// Sent says where a file has come to lie.
type Sent struct {
	Name   string // in the folder
	Size   int64
	ID     string
	Pieces int  // it lies there in so many pieces; 0: as a file of that name
	There  bool // the same was there already, and nothing was sent
	Read   bool // it was read back and compared
}

// Check asks whether the folder is there and lets one in.
func (f *Folder) Check(ctx context.Context) error {
	_, err := f.c.stat(ctx, "")
	return err
}

// Send sends a file of a size under a name, made safe by [SafeName]; see the package
// for what it does about pieces, names that are taken, and what was sent before. A
// broken connection is tried again a few times. Send returns at once when the context
// ends; an [Interrupted] error says how much has come. progress, which may be nil, is
// told of every part.
func (f *Folder) Send(ctx context.Context, name string, from io.ReaderAt, size int64, progress func(Progress)) (Sent, error) {
	s := &sending{client: f.c, from: from, size: size, name: SafeName(name), progress: progress}
	var err error
	if s.blocks, err = blocksOf(ctx, io.NewSectionReader(from, 0, size), size); err != nil {
		return Sent{}, err
	}
	s.id = idOf(s.blocks)
	s.piece = usual
	for tries := 1; ; tries++ {
		done, err := s.send(ctx)
		switch {
		case isKind(err, taken) && tries < 10: // by somebody else, since it was looked
			continue
		case isKind(err, TooLarge) && s.piece > small && count(size, small) <= maxPieces:
			s.piece = small
			continue
		case err != nil && s.of > 1 && s.have > 0:
			err = &Interrupted{Have: s.have, Of: s.of, Err: err}
		}
		return done, err
	}
}

// sending is a file that is being sent.
type sending struct {
	*client
	from     io.ReaderAt
	name     string
	size     int64
	blocks   [][32]byte
	id       string
	piece    int64 // of how many bytes pieces are
	have, of int   // pieces that are there, and all
	progress func(Progress)
}

func (s *sending) tell(p Progress) {
	if s.progress != nil {
		p.Name, p.Total = s.name, s.size
		s.progress(p)
	}
}

// send sends what is not there yet.
func (s *sending) send(ctx context.Context) (done Sent, err error) {
	var there []entry
	list := func() (err error) { there, err = s.list(ctx); return err }
	if err := s.again(ctx, s.waits(0), list); err != nil {
		return done, err
	}
	name, done, err := s.free(ctx, there)
	if err != nil || done.There {
		return done, err
	}
	first := s.plan(name, there)
	var sent int64
	missing := make([]piece, 0, s.of)
	for p := first; p.i <= s.of; p.i++ {
		if _, n := p.at(); holds(there, p.String(), n) {
			s.have++
			sent += n
		} else {
			missing = append(missing, p)
		}
	}
	s.tell(Progress{Done: sent})
	for _, p := range missing {
		n, err := s.one(ctx, p, sent)
		if err != nil {
			return done, err
		}
		sent += n
		s.have++
	}
	done = Sent{Name: name, Size: s.size, ID: s.id, Pieces: s.of}
	if s.of > 1 {
		return done, nil
	}
	if done.Read, err = s.compare(ctx, first); err != nil {
		return done, err
	}
	err = s.named(ctx, first.String(), name)
	if err == nil {
		done.Pieces = 0
	}
	if isKind(err, notAllowed, Forbidden) || isKind(err, Failed) && statusOf(err) == http.StatusBadGateway {
		err = nil // it stays a piece, which is joined like others
	}
	return done, err
}

func statusOf(err error) int {
	var t *Trouble
	errors.As(err, &t)
	return t.Status
}

// waits tells that it is waited before the next try.
func (s *sending) waits(sent int64) func(time.Duration, error) {
	return func(d time.Duration, err error) { s.tell(Progress{Done: sent, Wait: d, Err: err}) }
}

// free finds the first name that nothing else has, unless the file itself is there.
func (s *sending) free(ctx context.Context, there []entry) (name string, done Sent, err error) {
	whole := map[string][]piece{} // complete files in pieces, by their names
	for _, g := range group(there) {
		if g.have == g.of {
			whole[norm.NFC.String(g.name)] = append(whole[norm.NFC.String(g.name)], g.piece)
		}
	}
	named := map[string][]entry{}
	for _, e := range there {
		named[norm.NFC.String(e.name)] = append(named[norm.NFC.String(e.name)], e)
	}
	for k := 1; ; k++ {
		name = numbered(s.name, k)
		free := true
		for _, p := range whole[name] {
			if p.id == s.id && p.size == s.size && p.of > 1 {
				return name, Sent{Name: name, Size: s.size, ID: s.id, Pieces: p.of, There: true}, nil
			}
			free = free && p.id == s.id
		}
		for _, e := range named[name] {
			same := false
			if !e.folder && (e.size == s.size || e.size < 0) {
				if same, err = s.same(ctx, e.name); err != nil {
					return name, done, err
				}
			}
			if same {
				return name, Sent{Name: name, Size: s.size, ID: s.id, There: true, Read: true}, nil
			}
			free = false
		}
		if free {
			return name, done, nil
		}
	}
}

// same reads a file of the folder, and tells whether it holds the same.
func (s *sending) same(ctx context.Context, name string) (same bool, err error) {
	err = s.again(ctx, s.waits(0), func() error {
		in, _, err := s.read(ctx, name, 0, "")
		if err != nil {
			return err
		}
		defer in.Close()
		blocks, err := blocksOf(ctx, in, s.size)
		if errors.Is(err, errOtherSize) {
			return nil
		}
		if err != nil {
			return s.broken(ctx, err)
		}
		same = idOf(blocks) == s.id
		return nil
	})
	return same, err
}

// plan says in how many pieces the file goes: as it was begun, if it was. It returns
// the first of them.
func (s *sending) plan(name string, there []entry) piece {
	s.have = 0
	for count(s.size, s.piece) > maxPieces && s.piece < pieceSizes[len(pieceSizes)-1] {
		s.piece *= 4
	}
	s.of = count(s.size, s.piece)
	most := int64(0)
	for _, g := range group(there) {
		if g.id == s.id && g.size == s.size && norm.NFC.String(g.name) == name && g.bytes > most {
			most, s.of = g.bytes, g.of
		}
	}
	return piece{name: name, id: s.id, size: s.size, i: 1, of: s.of}
}

// one sends a piece until it is there with its size.
func (s *sending) one(ctx context.Context, p piece, sent int64) (n int64, err error) {
	at, n := p.at()
	if n < 0 || p.of > maxPieces {
		return 0, &Trouble{Kind: TooLarge, text: fmt.Sprintf("more than %d GB in one file: send it in parts", int64(maxPieces)*pieceSizes[len(pieceSizes)-1]>>30)}
	}
	tries := 0
	return n, s.again(ctx, s.waits(sent), func() error {
		if tries++; tries > 1 { // it may have come after all
			if e, err := s.stat(ctx, p.String()); err == nil && e.size == n {
				return nil
			} else if err != nil && !isKind(err, NoFolder) {
				return err
			}
		}
		done := sent
		kept := &keeping{ReaderAt: s.from}
		err := s.put(ctx, p.String(), content{from: kept, at: at, n: n, read: func(n int) {
			done += int64(n)
			s.tell(Progress{Done: done})
		}})
		if kept.err != nil {
			return fmt.Errorf("read it: %w", kept.err)
		}
		if err != nil {
			return err
		}
		if err := s.unchanged(at, n); err != nil {
			return err
		}
		e, err := s.stat(ctx, p.String())
		switch {
		case err != nil:
			return err
		case e.size != n && e.size >= 0:
			return &Trouble{Kind: Failed, Status: http.StatusInternalServerError, text: fmt.Sprintf("%s has kept %d of %d bytes: it may be full; tell whoever set it up", s.to.Host(), e.size, n)}
		}
		return nil
	})
}

// keeping keeps the error of a file that could not be read.
type keeping struct {
	io.ReaderAt
	err error
}

func (k *keeping) ReadAt(p []byte, at int64) (int, error) {
	n, err := k.ReaderAt.ReadAt(p, at)
	if err != nil && !errors.Is(err, io.EOF) {
		k.err = err
	}
	return n, err
}

// unchanged sees to it that a part of the file is still what its ID is of.
func (s *sending) unchanged(at, n int64) error {
	blocks, err := blocksOf(context.Background(), io.NewSectionReader(s.from, at, n), n)
	if err != nil && !errors.Is(err, errOtherSize) {
		return err
	}
	for i, b := range blocks {
		if err != nil || b != s.blocks[int(at/block)+i] {
			return &Trouble{Kind: Changed, text: "the file was changed while it was sent: send it again"}
		}
	}
	if err != nil {
		return &Trouble{Kind: Changed, text: "the file became shorter while it was sent: send it again"}
	}
	return nil
}

// compare reads back what was sent as one piece; false where the server does not show
// it.
func (s *sending) compare(ctx context.Context, p piece) (read bool, err error) {
	same, err := s.same(ctx, p.String())
	switch {
	case isKind(err, Forbidden, notAllowed):
		return false, nil
	case err != nil:
		return false, err
	case !same:
		return false, &Trouble{Kind: Failed, Status: http.StatusOK, text: fmt.Sprintf("%s has kept something else than was sent: send it again, and tell whoever set it up", s.to.Host())}
	}
	return true, nil
}

// named gives a piece the file's own name.
func (s *sending) named(ctx context.Context, piece, name string) error {
	tries := 0
	return s.again(ctx, s.waits(s.size), func() error {
		if tries++; tries > 1 {
			if e, err := s.stat(ctx, name); err == nil && e.size == s.size {
				if _, err := s.stat(ctx, piece); isKind(err, NoFolder) {
					return nil // it has been moved, and only the answer got lost
				}
			}
		}
		return s.move(ctx, piece, name)
	})
}

// holds tells whether a piece lies there with its size.
func holds(there []entry, name string, size int64) bool {
	for _, e := range there {
		if norm.NFC.String(e.name) == name && !e.folder && e.size == size {
			return true
		}
	}
	return false
}

// together are the pieces of one file.
type together struct {
	piece   // the first that was found
	have    int
	bytes   int64
	entries []entry // by number, from 0 on; those that are missing are zero
}

// group finds the pieces among what lies in a folder, and puts together those of one
// file, in the order in which they are listed. One that has not its size is missing.
func group(there []entry) (list []*together) {
	type key struct {
		name, id string
		size     int64
		of       int
	}
	found := map[key]*together{}
	for _, e := range there {
		p, ok := parsePiece(e.name)
		if !ok || e.folder {
			continue
		}
		k := key{p.name, p.id, p.size, p.of}
		g := found[k]
		if g == nil {
			g = &together{piece: p, entries: make([]entry, p.of)}
			found[k] = g
			list = append(list, g)
		}
		if _, n := p.at(); (e.size == n || e.size < 0) && g.entries[p.i-1].name == "" {
			g.have++
			g.bytes += n
			g.entries[p.i-1] = e
		}
	}
	return list
}

var errOtherSize = errors.New("it has another size")

// blocksOf returns the SHA-256s of the blocks of what is read; errOtherSize, with those
// that were read, where it is not of that size.
func blocksOf(ctx context.Context, in io.Reader, size int64) (list [][32]byte, err error) {
	buffer := make([]byte, min(block, size+1))
	for read := int64(0); ; {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		n, err := io.ReadFull(in, buffer)
		ended := errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
		if err != nil && !ended {
			return nil, err
		}
		if n > 0 {
			list = append(list, sha256.Sum256(buffer[:n]))
			read += int64(n)
		}
		if read > size || ended && read != size {
			return list, errOtherSize
		}
		if ended {
			return list, nil
		}
	}
}

// idOf is the ID of a file of such blocks.
func idOf(blocks [][32]byte) string {
	h := sha256.New()
	for _, b := range blocks {
		h.Write(b[:])
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}
