package handin

import (
	"cmp"
	"fmt"
	"path"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// maxName is the longest name of a file in bytes; what is added to that of a piece
// fits into the 255 that file systems take.
const maxName = 180

// SafeName is the name that a file gets in the folder: the last part of a path, in
// composed letters (NFC), without controls and marks that turn the direction, without
// a dot in front, and at most 180 bytes long with its ending. What is left of nothing
// is "unnamed".
func SafeName(name string) string {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	name = strings.ToValidUTF8(name, "")
	name = strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r), unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r):
			return -1
		}
		return r
	}, name)
	name = norm.NFC.String(name)
	name = strings.TrimRight(strings.TrimLeft(name, " ."), " .")
	if pieceName.MatchString(name) {
		name = strings.TrimSuffix(name, ".part") + ".piece" // somebody's own, and none of ours
	}
	if len(name) > maxName {
		ending := path.Ext(name)
		if len(ending) > 16 {
			ending = ""
		}
		stem := name[:maxName-len(ending)]
		for !utf8.ValidString(stem) {
			stem = stem[:len(stem)-1]
		}
		name = strings.TrimRight(stem, " .") + ending
	}
	return cmp.Or(name, "unnamed")
}

// numbered is the k-th name for a file, from 1 on: take.wav, take-2.wav, take-3.wav.
func numbered(name string, k int) string {
	if k == 1 {
		return name
	}
	ending := path.Ext(name)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ending), k, ending)
}

// What pieces are: of how many bytes, and how many at most. A file is in pieces of
// one size, which its count tells: no two of these sizes give the same but 1.
const (
	block     = 1 << 20 // what one SHA-256 is of
	small     = block   // a piece that servers take which take little at once
	usual     = 4 << 20
	maxPieces = 999
)

var pieceSizes = []int64{small, usual, 16 << 20, 64 << 20, 256 << 20, 1 << 30}

// count is in how many pieces of a size a file is; an empty one is in one.
func count(size, piece int64) int { return int(max(1, (size+piece-1)/piece)) }

// piece is one of a file.
type piece struct {
	name  string // of the file
	id    string
	size  int64 // of the file
	i, of int   // from 1 on
}

var pieceName = regexp.MustCompile(`^(.+)\.([0-9a-f]{16})-([0-9]{1,13})\.([0-9]{3})-of-([0-9]{3})\.part$`)

func (p piece) String() string {
	return fmt.Sprintf("%s.%s-%d.%03d-of-%03d.part", p.name, p.id, p.size, p.i, p.of)
}

// at says where in the file the piece begins, and how long it is.
func (p piece) at() (from, n int64) {
	for _, each := range pieceSizes {
		if count(p.size, each) == p.of {
			from = int64(p.i-1) * each
			return from, min(each, p.size-from)
		}
	}
	return 0, -1
}

// parsePiece reads the name of a piece; false where it is none.
func parsePiece(name string) (p piece, ok bool) {
	m := pieceName.FindStringSubmatch(name)
	if m == nil {
		return p, false
	}
	p.name, p.id = m[1], m[2]
	p.size, _ = strconv.ParseInt(m[3], 10, 64)
	p.i, _ = strconv.Atoi(m[4])
	p.of, _ = strconv.Atoi(m[5])
	if _, n := p.at(); p.i < 1 || p.i > p.of || n < 0 || strconv.FormatInt(p.size, 10) != m[3] {
		return piece{}, false
	}
	return p, true
}
