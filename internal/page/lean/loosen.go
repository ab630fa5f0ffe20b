package main

import (
	"encoding/binary"
	"errors"
)

var errTight = errors.New("no tight form of a module, or a damaged one")

// loosener writes a module.
type loosener struct {
	*reader
	*function
	out  []byte
	room int // how long the module is
}

// loosen returns the module that a tight form stands for.
func loosen(tight []byte) ([]byte, error) {
	if len(tight) < tightHead || string(tight[:len(tightMark)]) != tightMark {
		return nil, errTight
	}
	field := func(i int) int { return u32(tight, len(tightMark)+4*i) }
	length, sum, head := field(0), field(1), field(2)
	if length > maxModule || head > min(length, len(tight)-tightHead) {
		return nil, errTight
	}
	l := &loosener{reader: &reader{b: tight, at: tightHead, ok: true}, out: make([]byte, 0, min(length, 4*len(tight))), room: length}
	l.copy(head)
	functions := l.u32()
	l.number(functions)
	for i := 0; i < functions && l.good(); i++ {
		l.body(i)
	}
	l.copy(len(l.b) - l.at)
	if !l.good() || len(l.out) != length || checksum(l.out) != uint32(sum) {
		return nil, errTight
	}
	return l.out, nil
}

// good reports whether all is well so far, and there is still room.
func (l *loosener) good() bool {
	l.ok = l.ok && len(l.out) <= l.room
	return l.ok
}

func (l *loosener) put(b ...byte)   { l.out = append(l.out, b...) }
func (l *loosener) number(v int)    { l.out = binary.AppendUvarint(l.out, uint64(uint32(v))) }
func (l *loosener) signed(v int)    { l.out = appendS32(l.out, v&(1<<31-1)) }
func (l *loosener) difference() int { return int(unzigzag(uint32(l.u32()))) }

// offset reads where in the memory something is.
func (l *loosener) offset(by byte) int { return int(rotate(uint32(l.u32()), 32-by)) }

func (l *loosener) copy(n int) {
	from := l.skip(n)
	l.put(l.b[from:l.at]...)
}

func (l *loosener) copyNumber() {
	for l.ok {
		c := l.byte()
		l.put(c)
		if c < 0x80 {
			return
		}
	}
}

// sized puts the size of what was written since before it.
func (l *loosener) sized(from int) {
	size := binary.AppendUvarint(nil, uint64(len(l.out)-from))
	l.put(size...)
	copy(l.out[from+len(size):], l.out[from:len(l.out)-len(size)])
	copy(l.out[from:], size)
}

// body writes a function.
func (l *loosener) body(i int) {
	l.function = newFunction(i)
	from := len(l.out)
	kinds := l.u32() // of locals
	l.number(kinds)
	for ; kinds > 0 && l.ok; kinds-- {
		l.copyNumber()
		l.copy(1)
	}
	for closed := false; !closed && l.good(); {
		op := l.byte()
		if op < spCall || op > spLoad {
			closed = l.instruction(op)
		} else {
			l.sequence(op)
		}
	}
	l.sized(from)
}

// sequence writes what a byte stands for.
func (l *loosener) sequence(op byte) {
	switch op {
	case spCall:
		l.put(callPush...)
		l.place()
		l.put(callStore...)
		l.copyNumber()
		l.put(callBack...)
		l.number(l.depth - 1)
	case spReturn:
		l.put(i64Const)
		l.place()
	case spJump:
		l.put(jumpSet...)
		l.signed(l.difference() + int(l.next()))
		l.put(jumpGo...)
		l.number(l.depth - jumpTo)
	case spBlocks:
		n := l.u32()
		l.depth += n
		for ; n > 0 && l.good(); n-- {
			l.put(blockBegin...)
		}
	case spAddress:
		l.put(addressOf...)
		l.signed(l.offset(3))
		l.put(addressAdd...)
	case spLoad:
		l.put(loadOf...)
		l.number(l.offset(3))
	}
}

// place writes the address of a place in this function.
func (l *loosener) place() { l.signed(int(l.index)<<16 + l.difference() + int(l.next())) }

// instruction writes one.
func (l *loosener) instruction(op byte) (closed bool) {
	l.put(op)
	kind := operandsOf(op)
	if kind == takesMore {
		l.copy(1)
		kind = afterMore(l.out[len(l.out)-1])
	}
	switch kind {
	case takesUnknown:
		l.ok = false
	case takesByte:
		l.copy(1)
	case takesTwo:
		l.copy(2)
	case takesFour:
		l.copy(4)
	case takesEight:
		l.copy(8)
	case takesNumber:
		l.copyNumber()
	case takesNumbers:
		l.copyNumber()
		l.copyNumber()
	case takesLabel:
		l.number(l.depth - l.u32())
	case takesLabels:
		n := l.u32()
		l.number(n)
		l.table()
		for i, v := 0, 0; i <= n && l.good(); i++ {
			v += l.difference()
			if i < n {
				l.enter(i, v)
			}
			l.number(v)
		}
	case takesMemory:
		by := alignments[op-0x28]
		l.put(by)
		l.number(l.offset(by))
	case takesBlock:
		l.depth++
		l.copy(1)
	case takesEnd:
		closed = l.close()
	}
	return closed
}
