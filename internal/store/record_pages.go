package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"unicode/utf8"
)

// pageFile reads the pages of a SQLite file without SQLite, which stops at what is
// broken: each page as it was last committed, from the file or its write-ahead log
// (sqlite.org/fileformat2.html; numbers of sections below are of that page).
type pageFile struct {
	file  *os.File
	size  int            // of a page, in bytes
	pages int            // from 1
	log   map[int][]byte // pages in the write-ahead log
	// stray are pages of the log behind its first broken place, of which nobody
	// tells how whole they are. They are numbered -1, -2, ...
	stray [][]byte
	head  []byte // the first 100 bytes

	buf  []byte
	held int // the page in buf
}

const (
	headSize      = 100 // of the file (1.3)
	logHeadSize   = 32  // of the log (4.1)
	frameHeadSize = 24
	usualPageSize = 4096 // what SQLite makes
)

func openPages(path string) (*pageFile, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is no plain file")
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	p := &pageFile{file: file, size: usualPageSize, head: make([]byte, headSize)}
	if _, err := file.ReadAt(p.head, 0); err != nil && !errors.Is(err, io.EOF) { // shorter: the rest is 0
		file.Close()
		return nil, err
	}
	if size := int(binary.BigEndian.Uint16(p.head[16:])); p.ours() && size >= 512 && size&(size-1) == 0 {
		p.size = size
	}
	p.pages = int((info.Size() + int64(p.size) - 1) / int64(p.size))
	if p.log, p.stray, err = readLog(path+"-wal", p.size, &p.pages, slices.Clone[[]byte]); err != nil {
		file.Close()
		return nil, err
	}
	p.buf = make([]byte, p.size)
	if first, err := p.page(1); err == nil {
		copy(p.head, first)
	}
	return p, nil
}

// ours reports whether the head of the file is that of a practice record.
func (p *pageFile) ours() bool {
	return string(p.head[:16]) == "SQLite format 3\x00" && p.field(68) == applicationID
}

// field is a number in the head of the file (1.3): 28 its pages, 36 how many of
// them are free, 60 the version.
func (p *pageFile) field(at int) int { return int(binary.BigEndian.Uint32(p.head[at:])) }

// page returns a page, valid until the next call.
func (p *pageFile) page(n int) ([]byte, error) {
	if n < 0 {
		return p.stray[-1-n], nil
	}
	if logged, ok := p.log[n]; ok {
		return logged, nil
	}
	if p.held == n {
		return p.buf, nil
	}
	p.held = 0
	k, err := p.file.ReadAt(p.buf, int64(n-1)*int64(p.size))
	clear(p.buf[k:])
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	p.held = n
	return p.buf, nil
}

// readLog reads the pages of the write-ahead log that were committed. Each frame
// has a checksum over all before it (4.2), so the first that is broken ends it, for
// SQLite too. stray are the pages behind that place, if more than one commit lies
// there: the last one may not have reached the disk, but then no other came after.
// pages grows with the file; keep returns what is to be kept of a page.
func readLog(path string, size int, pages *int, keep func([]byte) []byte) (log map[int][]byte, stray [][]byte, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	for range 3 {
		log = map[int][]byte{}
		before, after := make([]byte, logHeadSize), make([]byte, logHeadSize)
		if _, err := f.ReadAt(before, 0); err != nil {
			return log, nil, nil
		}
		stray = readFrames(io.NewSectionReader(f, logHeadSize, 1<<40), before, size, log, pages, keep)
		if _, err := f.ReadAt(after, 0); err == nil && string(before) == string(after) {
			break // no program began the log anew meanwhile
		}
		stray = nil
	}
	return log, stray, nil
}

func readFrames(f io.Reader, head []byte, size int, log map[int][]byte, pages *int, keep func([]byte) []byte) (stray [][]byte) {
	var order binary.ByteOrder = binary.LittleEndian
	if head[3]&1 == 1 {
		order = binary.BigEndian
	}
	var a, b uint32
	sum := func(data []byte) {
		for ; len(data) >= 8; data = data[8:] {
			a += order.Uint32(data) + b
			b += order.Uint32(data[4:]) + a
		}
	}
	sound := func(stored []byte) bool {
		return binary.BigEndian.Uint32(stored) == a && binary.BigEndian.Uint32(stored[4:]) == b
	}
	sum(head[:24])
	valid := sound(head[24:]) && binary.BigEndian.Uint32(head)&^1 == 0x377f0682 && int(binary.BigEndian.Uint32(head[8:])) == size
	salt := string(head[16:24])
	if !valid {
		salt = ""
	}
	pending := map[int][]byte{}
	commits := 0 // behind the broken place
	frame := make([]byte, frameHeadSize+size)
	for {
		if _, err := io.ReadFull(f, frame); err != nil { // the end, or half a frame
			break
		}
		if salt == "" {
			salt = string(frame[8:16])
		}
		committed := int(binary.BigEndian.Uint32(frame[4:]))
		sum(frame[:8])
		sum(frame[frameHeadSize:])
		if valid = valid && string(frame[8:16]) == salt && sound(frame[16:]); !valid {
			if string(frame[8:16]) == salt { // else of an older log
				stray = append(stray, keep(frame[frameHeadSize:]))
				if committed > 0 {
					commits++
				}
			}
			continue
		}
		n := int(binary.BigEndian.Uint32(frame))
		pending[n] = keep(frame[frameHeadSize:])
		if committed > 0 {
			for n, data := range pending {
				log[n] = data
			}
			clear(pending)
			*pages = max(*pages, committed)
		}
	}
	if commits < 2 {
		return nil
	}
	for _, data := range pending { // of the commit that is broken
		stray = append(stray, data)
	}
	return stray
}

// logProblem says what is wrong with the write-ahead log of a file; nil: nothing.
// SQLite takes what lies behind a broken place for nothing, and writes over it.
func logProblem(path string, size int) error {
	pages := 0
	_, stray, err := readLog(path+"-wal", size, &pages, func([]byte) []byte { return nil })
	if err == nil && len(stray) > 0 {
		err = fmt.Errorf("%w: its write-ahead log is broken before %d pages", ErrRecordDamaged, len(stray))
	}
	return err
}

// The kinds of pages (1.6).
const (
	indexInner = 0x02
	tableInner = 0x05
	indexLeaf  = 0x0a
	tableLeaf  = 0x0d
)

// cell is what a leaf page holds of a row of a table, or of an entry of an index:
// its record, and of a row the number under which the table has it.
type cell struct {
	from, to int // where it lies in the page
	row      int64
	record   []byte
}

// cells returns those cells of a leaf page, not the first, that can be told, in
// their order. whole is false unless the page is one that SQLite would have
// written: the cells, the free blocks, and so many bytes of fragments as it counts
// fill it to the end without overlapping. Inner pages have no cells here.
func cells(page []byte) (kind byte, out []cell, whole bool) {
	kind = page[0]
	if kind != indexLeaf && kind != tableLeaf {
		return kind, nil, kind == indexInner || kind == tableInner
	}
	at := func(i int) int { return int(binary.BigEndian.Uint16(page[i:])) }
	n, content := at(3), at(5)
	if content == 0 {
		content = 1 << 16
	}
	begin := 8 + 2*n
	if begin > len(page) {
		return kind, nil, false
	}
	whole = begin <= content && content <= len(page)
	for i := range n {
		c, ok := cellAt(page, at(8+2*i), kind)
		switch {
		case !ok || c.from < begin:
			whole = false
			continue
		case kind == tableLeaf && len(out) > 0 && out[len(out)-1].row >= c.row:
			whole = false
		}
		out = append(out, c)
	}
	if !whole {
		return kind, out, false
	}
	used := slices.Clone(out)
	for free := at(1); free != 0; {
		if free < content || free > len(page)-4 {
			return kind, out, false
		}
		next, size := at(free), at(free+2)
		if size < 4 || next != 0 && next < free+size {
			return kind, out, false
		}
		used = append(used, cell{from: free, to: free + size})
		free = next
	}
	slices.SortFunc(used, func(a, b cell) int { return a.from - b.from })
	end, fragments := content, 0
	for _, c := range used {
		if c.from < end {
			return kind, out, false
		}
		fragments += c.from - end
		end = c.to
	}
	return kind, out, end <= len(page) && fragments+len(page)-end == int(page[7])
}

// cellAt reads the cell at a place of a leaf page. No record of ours is so long
// that a part of it would lie on another page.
func cellAt(page []byte, from int, kind byte) (c cell, ok bool) {
	if from >= len(page) {
		return c, false
	}
	c.from = from
	length, k := varint(page[from:])
	from += k
	if k > 0 && kind == tableLeaf {
		c.row, k = varint(page[from:])
		from += k
	}
	if k == 0 || length < 1 || length > int64(len(page)-from) {
		return c, false
	}
	c.record = page[from : from+int(length)]
	c.to = max(from+int(length), c.from+4)
	return c, true
}

// varint reads a variable-length number (1.6); k is its length, 0 if it is cut
// short.
func varint(b []byte) (x int64, k int) {
	for i := range min(9, len(b)) {
		if i == 8 {
			return x<<8 | int64(b[i]), 9
		}
		x = x<<7 | int64(b[i]&0x7f)
		if b[i] < 0x80 {
			return x, i + 1
		}
	}
	return 0, 0
}

// value is a value of a record: its serial type (2.1) and its bytes.
type value struct {
	kind  int64
	bytes []byte
}

// record appends the values of a record to dst; false unless they fill it.
func record(dst []value, data []byte) ([]value, bool) {
	size, k := varint(data)
	if k == 0 || size < int64(k) || size > int64(len(data)) {
		return dst, false
	}
	head, body := data[k:size], data[size:]
	for len(head) > 0 {
		kind, k := varint(head)
		if k == 0 || kind < 0 {
			return dst, false
		}
		head = head[k:]
		var n int64
		switch {
		case kind <= 9:
			n = [...]int64{0, 1, 2, 3, 4, 6, 8, 8, 0, 0}[kind]
		case kind < 12:
			return dst, false
		default:
			n = (kind - 12) / 2
		}
		if n > int64(len(body)) {
			return dst, false
		}
		dst = append(dst, value{kind, body[:n]})
		body = body[n:]
	}
	return dst, len(body) == 0
}

// null reports whether a value is null.
func (v value) null() bool { return v.kind == 0 }

// integer returns a whole number; false if it is none, or longer than SQLite
// would have made it.
func (v value) integer() (x int64, ok bool) {
	switch {
	case v.kind == 8, v.kind == 9:
		return v.kind - 8, true
	case v.kind < 1 || v.kind > 6:
		return 0, false
	}
	x = int64(int8(v.bytes[0]))
	for _, b := range v.bytes[1:] {
		x = x<<8 | int64(b)
	}
	shorter := []uint{0, 0, 8, 16, 24, 32, 48}[v.kind] // bits of the kind before
	if shorter == 0 {
		return x, x != 0 && x != 1
	}
	return x, x>>(shorter-1) != 0 && x>>(shorter-1) != -1
}

// real returns a number; false if it is none, or one that SQLite would have
// written as a whole number.
func (v value) real() (x float64, ok bool) {
	if v.kind != 7 {
		n, ok := v.integer()
		return float64(n), ok
	}
	x = math.Float64frombits(binary.BigEndian.Uint64(v.bytes))
	return x, !math.IsNaN(x) && (x != math.Trunc(x) || math.Abs(x) >= 1<<46)
}

// text returns a text; false if it is none.
func (v value) text() (string, bool) {
	return string(v.bytes), v.kind >= 13 && v.kind%2 == 1 && utf8.Valid(v.bytes)
}
