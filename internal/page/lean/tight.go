package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
)

// The tight form of a module is the module written so that it packs better: a packer
// finds a sequence again only where all of its bytes are the same, and in Go's code many
// are made of where they stand. What goes before the code, and what follows it, is as it
// was. In the code
//
//   - functions have no sizes, and loads and stores no alignments, which are Go's;
//   - a branch counts its blocks from the outside of the function;
//   - the table at the head of a function, by which Go enters it again after a call, is
//     written as differences; return addresses, and the places that it jumps to, as
//     differences from where the next block begins by that table;
//   - what Go writes in the same words thousands of times is one byte of its own (see
//     spCall and those that follow), before what differs.
//
// All numbers are unsigned in LEB128. The form begins with its mark, and three numbers
// of four bytes, little endian: the length of the module, its checksum (FNV-1a of 32
// bits), and how many bytes go before what is in the section of code. The page has the
// way back once more, in web/tight.js.
const (
	tightMark = "tight\x00\x00\x01"
	tightHead = len(tightMark) + 3*4
	maxModule = 1 << 26
)

// The bytes that stand for more in the tight form. No instruction has them.
const (
	spCall    = 0xe0 + iota // call a function: return address, function
	spReturn                // i64.const of a return address
	spJump                  // set the place where the function goes on, and go there
	spBlocks                // begin blocks without results: how many
	spAddress               // the address of a place on the stack: how far from its top
	spLoad                  // load from the stack: how far from its top
)

// What Go writes in the same words. Local 1 is the stack pointer, local 0 the place where
// the function goes on (cmd/internal/obj/wasm/wasmobj.go).
var (
	callPush   = []byte{0x20, 1, 0x41, 8, 0x6b, 0x22, 1, 0x24, 0, 0x20, 1, 0x42}
	callStore  = []byte{0x37, 3, 0, 0x41, 0, 0x10}
	callBack   = []byte{0x23, 0, 0x21, 1, 0x0d}
	jumpSet    = []byte{0x41}
	jumpGo     = []byte{0x21, 0, 0x0c}
	blockBegin = []byte{0x02, 0x40}
	addressOf  = []byte{0x20, 1, 0xad, 0x42}
	addressAdd = []byte{0x7c, 0xa7}
	loadOf     = []byte{0x20, 1, 0x29, 3}
)

// jumpTo is the block, from the outside, that a jump goes to: the loop around all others.
const jumpTo = 2

// firstFunction is Go's number of the first function of the code; a return address is
// 1<<16 times the number, and the place in the function.
const firstFunction = 0x1000

// alignments are those of the loads and stores from 0x28 on, as powers of two.
var alignments = []byte{2, 3, 2, 3, 0, 0, 1, 1, 0, 0, 1, 1, 2, 2, 2, 3, 2, 3, 0, 1, 0, 1, 2}

// operands are what follows an instruction (WebAssembly Core Specification 1.0, 5.4, and
// of 2.0 the conversions and bulk copies that Go uses).
type operands int

const (
	takesUnknown operands = iota
	takesNothing
	takesByte
	takesTwo
	takesFour
	takesEight
	takesNumber
	takesNumbers
	takesLabel
	takesLabels
	takesMemory
	takesBlock
	takesEnd
	takesMore
)

func operandsOf(op byte) operands {
	switch {
	case op == end:
		return takesEnd
	case op >= 0x20 && op <= 0x24, op == 0x10, op == 0x41, op == 0x42:
		return takesNumber
	case op >= 0x28 && op <= 0x3e:
		return takesMemory
	case op >= 0x45 && op <= 0xc4, op <= 1, op == 5, op == 0x0f, op == 0x1a, op == 0x1b:
		return takesNothing
	case op >= 2 && op <= 4:
		return takesBlock
	case op == 0x0c, op == 0x0d:
		return takesLabel
	case op == 0x0e:
		return takesLabels
	case op == 0x11:
		return takesNumbers
	case op == 0x3f, op == 0x40:
		return takesByte
	case op == 0x43:
		return takesFour
	case op == 0x44:
		return takesEight
	case op == 0xfc:
		return takesMore
	}
	return takesUnknown
}

// afterMore are the operands behind 0xfc and a second byte.
func afterMore(op byte) operands {
	switch {
	case op <= 7:
		return takesNothing
	case op == 10:
		return takesTwo
	case op == 11:
		return takesByte
	}
	return takesUnknown
}

// function is what is known of a function where one is in it.
type function struct {
	index  int64 // its own, as return addresses have it
	depth  int   // how many blocks are open
	outer  int   // how many of those are open that the table enters
	block  int   // which of them is next
	starts []int // the first place of each
}

func newFunction(i int) *function {
	return &function{index: int64(firstFunction + i), outer: -1}
}

// close closes a block, and reports whether that was the function.
func (f *function) close() bool {
	if f.depth == f.outer {
		f.block++
		f.outer--
	}
	f.depth--
	return f.depth < 0
}

// table begins the table.
func (f *function) table() { f.outer, f.block, f.starts = f.depth, 0, f.starts[:0] }

// enter takes what place i of the table enters.
func (f *function) enter(i, block int) {
	if block == len(f.starts) {
		f.starts = append(f.starts, i)
	}
}

// next is where the next block begins; within a condition, this one.
func (f *function) next() int64 {
	i := f.block
	if f.depth != f.outer {
		i--
	}
	if i < 0 || i >= len(f.starts) {
		return 0
	}
	return int64(f.starts[i])
}

// tightener writes the tight form.
type tightener struct {
	*reader
	*function
	out []byte
}

// tighten returns the tight form of a module, after having tried the way back.
func tighten(module []byte) ([]byte, error) {
	if !bytes.HasPrefix(module, []byte(magic)) || len(module) > maxModule {
		return nil, errors.New("no WebAssembly module of version 1, or one of over 64 MiB")
	}
	r := &reader{b: module, at: len(magic), ok: true}
	for r.at < len(module) {
		id, size := r.byte(), r.u32()
		from := r.skip(size)
		if !r.ok {
			return nil, errors.New("the module is cut short")
		}
		if id != codeSection {
			continue
		}
		t := &tightener{reader: &reader{b: module[:r.at], at: from, ok: true}}
		t.out = append(t.out, tightMark...)
		for _, v := range []uint32{uint32(len(module)), checksum(module), uint32(from)} {
			t.out = binary.LittleEndian.AppendUint32(t.out, v)
		}
		t.out = append(t.out, module[:from]...)
		if err := t.code(); err != nil {
			return nil, err
		}
		t.out = append(t.out, module[r.at:]...)
		if back, err := loosen(t.out); err != nil || !bytes.Equal(back, module) {
			return nil, fmt.Errorf("the way back from the tight form leads elsewhere: %v", err)
		}
		return t.out, nil
	}
	return nil, errors.New("the module has no code")
}

func checksum(b []byte) uint32 {
	h := fnv.New32a()
	h.Write(b)
	return h.Sum32()
}

// number writes a number.
func (t *tightener) number(v uint64) { t.out = binary.AppendUvarint(t.out, v) }

// put writes a byte that stands for more, and a number.
func (t *tightener) put(op byte, v uint64) {
	t.out = append(t.out, op)
	t.number(v)
}

// copy copies n bytes.
func (t *tightener) copy(n int) {
	from := t.skip(n)
	t.out = append(t.out, t.b[from:t.at]...)
}

// copyNumber copies a number of any size.
func (t *tightener) copyNumber() {
	for t.ok {
		c := t.byte()
		t.out = append(t.out, c)
		if c < 0x80 {
			return
		}
	}
}

// has passes over these bytes if they come next.
func (r *reader) has(b []byte) bool {
	if !bytes.HasPrefix(r.b[r.at:], b) {
		return false
	}
	r.at += len(b)
	return true
}

// zigzag makes small numbers of those near zero.
func zigzag(v int64) uint64   { return uint64(uint32(v<<1 ^ v>>63)) }
func unzigzag(v uint32) int64 { return int64(v>>1) ^ -int64(v&1) }

// rotate puts the bits that are zero in what is a multiple of 1<<by in front.
func rotate(v uint32, by byte) uint32 { return v>>by | v<<(32-by) }

func (t *tightener) code() error {
	functions := t.u32()
	t.number(uint64(functions))
	for i := range functions {
		size := t.u32()
		from := t.at
		t.function = newFunction(i)
		kinds := t.u32() // of locals
		t.number(uint64(kinds))
		for ; kinds > 0 && t.ok; kinds-- {
			t.copyNumber()
			t.copy(1)
		}
		for closed := false; !closed && t.ok; {
			if t.short() {
				continue
			}
			var err error
			if closed, err = t.instruction(); err != nil {
				return fmt.Errorf("function %d: %w", i, err)
			}
		}
		if !t.ok || t.at != from+size {
			return fmt.Errorf("function %d does not end where it should", i)
		}
	}
	if t.at != len(t.b) {
		return errors.New("more than functions is in the code")
	}
	return nil
}

// instruction writes one that has no byte of its own.
func (t *tightener) instruction() (closed bool, err error) {
	op := t.byte()
	at := len(t.out)
	t.out = append(t.out, op)
	kind := operandsOf(op)
	if kind == takesMore {
		t.copy(1)
		kind = afterMore(t.out[len(t.out)-1])
	}
	switch kind {
	case takesUnknown:
		return false, fmt.Errorf("no instruction of Go is %x", t.out[at:])
	case takesByte:
		t.copy(1)
	case takesTwo:
		t.copy(2)
	case takesFour:
		t.copy(4)
	case takesEight:
		t.copy(8)
	case takesNumbers:
		t.copyNumber()
		t.copyNumber()
	case takesNumber:
		t.copyNumber()
		if place, ok := t.place(t.out[at+1:]); ok && op == i64Const {
			t.out = t.out[:at]
			t.put(spReturn, zigzag(place-t.next()))
		}
	case takesLabel:
		t.outward()
	case takesLabels:
		t.labels()
	case takesMemory:
		by := alignments[op-0x28]
		if t.byte() != by {
			return false, fmt.Errorf("instruction %x is not aligned as Go does it", op)
		}
		t.number(uint64(rotate(uint32(t.u32()), by)))
	case takesBlock:
		t.depth++
		t.copy(1)
	case takesEnd:
		closed = t.close()
	}
	return closed, nil
}

// outward writes the block that a branch goes to.
func (t *tightener) outward() { t.number(uint64(uint32(t.depth - t.u32()))) }

// labels writes the blocks that a table enters, and the one for all other places.
func (t *tightener) labels() {
	n := t.u32()
	t.number(uint64(n))
	t.table()
	for i, last := 0, 0; i <= n && t.ok; i++ {
		v := t.u32()
		if i < n {
			t.enter(i, v)
		}
		t.number(zigzag(int64(int32(v - last))))
		last = v
	}
}

// place is the place in this function that a number is the address of.
func (t *tightener) place(number []byte) (int64, bool) {
	r := &reader{b: number, ok: true}
	v := r.s32()
	return int64(v & 0xffff), r.ok && int64(v>>16) == t.index
}

// sequence reads what begins with some bytes, and at the end of which rest agrees; else
// it reads nothing.
func (t *tightener) sequence(begin []byte, rest func() bool) bool {
	from, out := t.at, len(t.out)
	if t.has(begin) && rest() && t.ok {
		return true
	}
	t.at, t.out, t.ok = from, t.out[:out], true
	return false
}

// short writes a sequence that has a byte of its own.
func (t *tightener) short() bool {
	return t.sequence(callPush, func() bool {
		from := t.at
		t.s32()
		place, ok := t.place(t.b[from:t.at])
		t.put(spCall, zigzag(place-t.next()))
		if !ok || !t.has(callStore) {
			return false
		}
		t.copyNumber()
		return t.has(callBack) && t.u32() == t.depth-1
	}) || t.sequence(jumpSet, func() bool {
		place := t.s32()
		t.put(spJump, zigzag(int64(place)-t.next()))
		return place >= 0 && t.has(jumpGo) && t.u32() == t.depth-jumpTo
	}) || t.sequence(blockBegin, func() bool {
		n := 1
		for t.has(blockBegin) {
			n++
		}
		t.depth += n
		t.put(spBlocks, uint64(n))
		return true
	}) || t.sequence(addressOf, func() bool {
		offset := t.s32()
		t.put(spAddress, uint64(rotate(uint32(offset), 3)))
		return offset >= 0 && t.has(addressAdd)
	}) || t.sequence(loadOf, func() bool {
		t.put(spLoad, uint64(rotate(uint32(t.u32()), 3)))
		return true
	})
}
