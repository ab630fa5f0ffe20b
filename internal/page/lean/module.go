package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
)

// data is the section of data of a module: where it lies, and its segments in the order
// of their addresses.
type data struct {
	from, to int // with its head
	segments []segment
}

// segment is where some data lie in the module, and where in the memory.
type segment struct {
	from, to int
	address  int
}

// The parts of the binary format of WebAssembly that are read here (WebAssembly Core
// Specification 1.0, 5.4.1, 5.5.2, 5.5.8, 5.5.14).
const (
	magic         = "\x00asm\x01\x00\x00\x00"
	memorySection = 5
	codeSection   = 10
	dataSection   = 11
	i32Const      = 0x41
	i64Const      = 0x42
	end           = 0x0b
)

// reader reads what a module consists of. When it is no longer ok, it reads zeros.
type reader struct {
	b  []byte
	at int
	ok bool
}

func (r *reader) byte() byte {
	if r.at >= len(r.b) {
		r.ok = false
		return 0
	}
	r.at++
	return r.b[r.at-1]
}

// u32 reads an unsigned number of at most 32 bits in LEB128.
func (r *reader) u32() int {
	v, n := binary.Uvarint(r.b[r.at:])
	if n <= 0 || n > 5 || v > 1<<32-1 {
		r.ok = false
		return 0
	}
	r.at += n
	return int(v)
}

// s32 reads a signed number of 32 bits in LEB128.
func (r *reader) s32() int {
	v := int64(0)
	for shift := 0; shift < 35; shift += 7 {
		c := r.byte()
		v |= int64(c&0x7f) << shift
		if c < 0x80 {
			if c&0x40 != 0 {
				v |= -1 << (shift + 7)
			}
			r.ok = r.ok && v >= -1<<31 && v < 1<<31
			return int(v)
		}
	}
	r.ok = false
	return 0
}

// skip passes over n bytes and returns where they begin.
func (r *reader) skip(n int) int {
	from := r.at
	if n > len(r.b)-r.at {
		r.ok = false
		return from
	}
	r.at += n
	return from
}

// dataOf finds the data of a module, which has one memory of its own, all of them put
// there when it begins.
func dataOf(module []byte) (data, error) {
	if !bytes.HasPrefix(module, []byte(magic)) {
		return data{}, errors.New("no WebAssembly module of version 1")
	}
	r := &reader{b: module, at: len(magic), ok: true}
	var d data
	memories := 0
	for r.at < len(module) {
		head := r.at
		id, size := r.byte(), r.u32()
		from := r.skip(size)
		if !r.ok {
			return data{}, errors.New("the module is cut short")
		}
		s := &reader{b: module[:r.at], at: from, ok: true}
		switch {
		case id == memorySection:
			memories += s.u32()
		case id == dataSection && d.segments != nil:
			return data{}, errors.New("it has two sections of data")
		case id == dataSection:
			var err error
			if d.segments, err = segmentsOf(s); err != nil {
				return data{}, err
			}
			d.from, d.to = head, r.at
		}
	}
	if memories != 1 || d.segments == nil {
		return data{}, fmt.Errorf("it has %d memories and %d segments of data", memories, len(d.segments))
	}
	return d, nil
}

// segmentsOf reads the segments of a section of data, which do not overlap.
func segmentsOf(r *reader) ([]segment, error) {
	var found []segment
	for n := r.u32(); n > 0; n-- {
		kind, op := r.u32(), r.byte()
		address, stop := r.s32(), r.byte()
		length := r.u32()
		from := r.skip(length)
		if !r.ok || kind != 0 || op != i32Const || stop != end || address < 0 {
			return nil, fmt.Errorf("the data at byte %d are not as Go writes them", from)
		}
		found = append(found, segment{from, from + length, address})
	}
	if !r.ok || r.at != len(r.b) {
		return nil, errors.New("the section of data ends too early or too late")
	}
	slices.SortStableFunc(found, func(a, b segment) int { return a.address - b.address })
	for i := 1; i < len(found); i++ {
		if a, b := found[i-1], found[i]; a.address+a.to-a.from > b.address {
			return nil, fmt.Errorf("the data at bytes %d and %d overlap", a.from, b.from)
		}
	}
	return found, nil
}

// memory is what the data make of the memory of a module, up to the last that is not
// zero. What lies between segments, where all is zero, is bounded.
func (d data) memory(module []byte) ([]byte, error) {
	last := d.segments[len(d.segments)-1]
	size := last.address + last.to - last.from
	if size > 4*len(module)+1<<20 {
		return nil, fmt.Errorf("its data reach up to byte %d of the memory, too far for %d bytes", size, len(module))
	}
	memory := make([]byte, size)
	for _, s := range d.segments {
		copy(memory[s.address:], module[s.from:s.to])
	}
	return bytes.TrimRight(memory, "\x00"), nil
}

// apart is how many zeros lie between two segments at the least. Of 16 to 256, this
// packs best, by a hair.
const apart = 64

// appendData appends a section of data that makes this memory.
func appendData(out, memory []byte) []byte {
	var body []byte
	n := uint64(0)
	for at := 0; ; n++ {
		for at < len(memory) && memory[at] == 0 {
			at++
		}
		if at == len(memory) {
			break
		}
		to := at + 1 // behind the last byte that is not zero
		for i := to; i < len(memory) && i < to+apart; i++ {
			if memory[i] != 0 {
				to = i + 1
			}
		}
		body = append(body, 0, i32Const)
		body = appendS32(body, at)
		body = append(body, end)
		body = binary.AppendUvarint(body, uint64(to-at))
		body = append(body, memory[at:to]...)
		at = to
	}
	count := binary.AppendUvarint(nil, n)
	out = append(out, dataSection)
	out = binary.AppendUvarint(out, uint64(len(count)+len(body)))
	return append(append(out, count...), body...)
}

// appendS32 appends a number that is not negative as a signed one in LEB128.
func appendS32(b []byte, v int) []byte {
	for ; v >= 0x40; v >>= 7 {
		b = append(b, byte(v)|0x80)
	}
	return append(b, byte(v))
}
