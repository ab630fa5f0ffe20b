package codec

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// oggReader gives the packets of one stream of an Ogg file (RFC 3533), and of those that
// are chained behind it. The libraries that decode the packets have readers of their own,
// which let a file choose how much memory they take; here a packet is bounded.
type oggReader struct {
	r     *bufio.Reader
	magic string // how the first packet of the stream begins

	begun    bool
	serial   uint32
	sequence uint32 // of the next page
	ended    bool   // the stream's last page was read

	body    [oggBody]byte
	queue   []oggPacket // of the page in body
	partial []byte      // the beginning of a packet that goes on on the next page
	open    bool        // there is one
	pages   int         // that it lies on
}

// oggPacket is a packet, valid until the next page is read.
type oggPacket struct {
	data []byte
	// granule is the position at the end of the last packet that ends on a page; −1 for
	// the others, and where the page has none.
	granule int64
	end     int64 // granule of the page if it is the last of its stream; else −1
	first   bool  // of a stream
}

const (
	oggHead = 27
	oggBody = 255 * 255
	// A packet is at most so large, and on so many pages: pictures are in the comments.
	oggLargest = 16 << 20
	oggPages   = 1024
)

func newOgg(r io.Reader, magic string) *oggReader {
	return &oggReader{r: bufio.NewReaderSize(r, 1<<16), magic: magic}
}

// next gives the next packet; [io.EOF] at the end of the file.
func (o *oggReader) next() (oggPacket, error) {
	for len(o.queue) == 0 {
		if err := o.page(); err != nil {
			return oggPacket{}, err
		}
	}
	p := o.queue[0]
	o.queue = o.queue[1:]
	return p, nil
}

// page reads a page, and queues the packets that end on it.
func (o *oggReader) page() error {
	head, err := o.r.Peek(oggHead)
	switch {
	case len(head) == 0 && errors.Is(err, io.EOF) && !o.open:
		return io.EOF
	case len(head) < oggHead && errors.Is(err, io.EOF) && !o.ended:
		return io.ErrUnexpectedEOF
	case err != nil && !errors.Is(err, io.EOF):
		return err
	case len(head) < oggHead || string(head[:4]) != "OggS":
		if o.ended {
			return io.EOF // a tag behind the sound
		}
		return errors.New("no Ogg page where one should be")
	case head[4] != 0:
		return fmt.Errorf("an Ogg page of version %d", head[4])
	}
	var fixed [oggHead + 255]byte
	segments := int(head[26])
	table := fixed[oggHead : oggHead+segments]
	if _, err := io.ReadFull(o.r, fixed[:oggHead+segments]); err != nil {
		return cutOff(err)
	}
	size := 0
	for _, s := range table {
		size += int(s)
	}
	body := o.body[:size]
	if _, err := io.ReadFull(o.r, body); err != nil {
		return cutOff(err)
	}
	le := binary.LittleEndian
	flags, granule, serial, sequence, sum := fixed[5], int64(le.Uint64(fixed[6:])), le.Uint32(fixed[14:]), le.Uint32(fixed[18:]), le.Uint32(fixed[22:])
	le.PutUint32(fixed[22:], 0)
	if oggSum(oggSum(0, fixed[:oggHead+segments]), body) != sum {
		return errors.New("the checksum of an Ogg page is wrong")
	}
	first := flags&2 != 0
	if first && (!o.begun || o.ended) && strings.HasPrefix(string(body[:min(len(body), len(o.magic))]), o.magic) {
		o.begun, o.ended, o.serial, o.sequence = true, false, serial, sequence
		o.drop()
	}
	if !o.begun || serial != o.serial {
		return nil // of another stream of the file
	}
	if sequence != o.sequence {
		o.drop() // pages are missing
	}
	o.sequence = sequence + 1
	o.ended = flags&4 != 0
	if granule < 0 || granule > math.MaxInt64/8 {
		granule = -1
	}
	return o.packets(body, table, flags&1 != 0, first, granule)
}

// packets queues the packets that end on a page.
func (o *oggReader) packets(body, table []byte, continued, first bool, granule int64) error {
	o.queue = o.queue[:0]
	lost := continued && !o.open // its beginning is missing
	if !continued {
		o.drop()
	}
	from, at := 0, 0
	for _, s := range table {
		at += int(s)
		if s == 255 {
			continue
		}
		data := body[from:at]
		if o.open {
			data = append(o.partial, data...)
			o.drop()
		}
		if !lost {
			o.queue = append(o.queue, oggPacket{data: data, granule: -1, end: -1, first: first})
		}
		lost, first = false, false
		from = at
	}
	if len(table) > 0 && table[len(table)-1] == 255 && !lost {
		o.partial = append(o.partial, body[from:]...)
		o.open = true
		if o.pages++; len(o.partial) > oggLargest || o.pages > oggPages {
			return errors.New("a packet of the Ogg is too large")
		}
	}
	if n := len(o.queue); n > 0 {
		o.queue[n-1].granule = granule
	}
	if o.ended {
		for i := range o.queue {
			o.queue[i].end = granule
		}
	}
	return nil
}

// drop forgets a packet of which there is only the beginning.
func (o *oggReader) drop() { o.partial, o.open, o.pages = nil, false, 0 }

func cutOff(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// oggTable is for the checksum of RFC 3533, 6: the polynomial 04c11db7, not reflected.
var oggTable = func() (t [256]uint32) {
	for i := range t {
		r := uint32(i) << 24
		for range 8 {
			r = r<<1 ^ 0x04c11db7*(r>>31)
		}
		t[i] = r
	}
	return t
}()

func oggSum(sum uint32, b []byte) uint32 {
	for _, v := range b {
		sum = sum<<8 ^ oggTable[byte(sum>>24)^v]
	}
	return sum
}
