package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
)

// The tables of functions as Go 1.26 has them: pcHeader in runtime/symtab.go, _func in
// runtime/runtime2.go, written by cmd/link/internal/ld/pcln.go. All numbers are little
// endian; a pointer has eight bytes, on wasm too.
const (
	headerSize = 8 + 8*8
	funcSize   = 11 * 4
)

// header begins the tables: the magic number of Go 1.20 and later, two bytes of nothing,
// the least length of an instruction, the size of a pointer.
var header = []byte{0xf1, 0xff, 0xff, 0xff, 0, 0, 1, 8}

// Where the fields of a function lie.
const (
	entryOff  = 0
	nameOff   = 4
	pcsp      = 16
	pcfile    = 20
	pcln      = 24
	npcdata   = 28
	cuOffset  = 32
	startLine = 36
	nfuncdata = 43
)

// tables are the tables of a program. Each is a part of its memory.
type tables struct {
	names, units, files, pcs []byte
	functions                []byte
	list                     []int // where each function begins among the functions
}

func u32(b []byte, at int) int { return int(binary.LittleEndian.Uint32(b[at:])) }

// findTables finds the tables in a memory: exactly one place looks like them.
func findTables(memory []byte) (*tables, error) {
	var found *tables
	why := errors.New("no table of functions of Go 1.26 is in it")
	for at := 0; ; at++ {
		i := bytes.Index(memory[at:], header)
		if i < 0 {
			break
		}
		at += i
		t, err := tablesAt(memory[at:])
		switch {
		case err != nil:
			why = fmt.Errorf("the table of functions is not as Go 1.26 writes it: %w", err)
		case found != nil:
			return nil, errors.New("two tables of functions are in it")
		default:
			found = t
		}
	}
	if found == nil {
		return nil, why
	}
	return found, nil
}

// tablesAt reads the tables that begin with b, and whatever follows them.
func tablesAt(b []byte) (*tables, error) {
	if len(b) < headerSize {
		return nil, errors.New("its header is cut short")
	}
	var word [9]int
	for i := 1; i < len(word); i++ {
		v := binary.LittleEndian.Uint64(b[8*i:])
		if v > uint64(len(b)) {
			return nil, fmt.Errorf("word %d of its header is %d, in %d bytes", i, v, len(b))
		}
		word[i] = int(v)
	}
	nfunc, nfiles, offsets := word[1], word[2], word[4:]
	if nfunc == 0 || nfiles == 0 || word[3] != 0 || offsets[0] != headerSize || !slices.IsSorted(offsets) {
		return nil, fmt.Errorf("its header says %d", word[1:])
	}
	t := &tables{
		names: b[offsets[0]:offsets[1]], units: b[offsets[1]:offsets[2]], files: b[offsets[2]:offsets[3]],
		pcs: b[offsets[3]:offsets[4]], functions: b[offsets[4]:],
	}
	if len(t.pcs) == 0 || t.pcs[0] != 0 {
		return nil, errors.New("its numbers do not begin with zero")
	}
	if err := t.index(nfunc); err != nil {
		return nil, err
	}
	return t, t.check(nfiles)
}

// index reads where the functions are.
func (t *tables) index(nfunc int) error {
	b := t.functions
	if nfunc > (len(b)-4)/8 {
		return fmt.Errorf("%d functions in %d bytes", nfunc, len(b))
	}
	free := (8*nfunc + 4 + 7) &^ 7 // where the next function begins
	for i := range nfunc {
		pc, at := u32(b, 8*i), u32(b, 8*i+4)
		if at != free || at+funcSize > len(b) || pc != u32(b, at+entryOff) || pc >= u32(b, 8*i+8) {
			return fmt.Errorf("function %d lies at %d of %d, want %d", i, at, len(b), free)
		}
		size := funcSize + 4*u32(b, at+npcdata) + 4*int(b[at+nfuncdata])
		if size >= len(b)-at { // other data follow
			return fmt.Errorf("function %d has %d bytes", i, size)
		}
		t.list = append(t.list, at)
		free = (at + size + 7) &^ 7
	}
	return nil
}

// check looks whether all that the functions point at is there.
func (t *tables) check(nfiles int) error {
	seen := false
	for i, at := range t.list {
		name, ok := textAt(t.names, u32(t.functions, at+nameOff))
		if !ok {
			return fmt.Errorf("function %d has no name", i)
		}
		seen = seen || name == "runtime.main"
		unit := u32(t.functions, at+cuOffset)
		if unit != 1<<32-1 && 4*unit > len(t.units) {
			return fmt.Errorf("function %s is of the unit at %d", name, unit)
		}
	}
	if !seen {
		return errors.New("there is no runtime.main")
	}
	if len(t.units)%4 != 0 {
		return fmt.Errorf("the units have %d bytes", len(t.units))
	}
	for at := 0; at < len(t.units); at += 4 {
		if file := u32(t.units, at); file != 1<<32-1 && !startsText(t.files, file) {
			return fmt.Errorf("a file of the unit at %d is at %d", at/4, file)
		}
	}
	if texts := bytes.Count(t.files, []byte{0}); texts < nfiles {
		return fmt.Errorf("%d files, want %d", texts, nfiles)
	}
	return nil
}

// startsText reports whether a text begins there: behind the end of another.
func startsText(b []byte, at int) bool {
	return at < len(b) && (at == 0 || b[at-1] == 0)
}

// textAt is the text that begins there, which must not be empty.
func textAt(b []byte, at int) (string, bool) {
	if !startsText(b, at) {
		return "", false
	}
	n := bytes.IndexByte(b[at:], 0)
	return string(b[at : at+max(n, 0)]), n > 0
}

// clear takes the lines, and the files they are of, out of the tables.
func (t *tables) clear() error {
	kept, dropped := make([]bool, len(t.pcs)), make([]bool, len(t.pcs))
	kept[0] = true // no table begins there
	for i, at := range t.list {
		for _, field := range []int{pcfile, pcln} {
			if err := t.mark(dropped, u32(t.functions, at+field)); err != nil {
				return fmt.Errorf("function %d: %w", i, err)
			}
		}
		if err := t.mark(kept, u32(t.functions, at+pcsp)); err != nil {
			return fmt.Errorf("function %d: %w", i, err)
		}
		for k := range u32(t.functions, at+npcdata) {
			if err := t.mark(kept, u32(t.functions, at+funcSize+4*k)); err != nil {
				return fmt.Errorf("function %d: %w", i, err)
			}
		}
	}
	for at, c := range t.pcs {
		if c != 0 && !kept[at] && !dropped[at] {
			return fmt.Errorf("nobody knows what byte %d of its numbers is for", at)
		}
	}
	for at := range t.pcs {
		if !kept[at] {
			t.pcs[at] = 0
		}
	}
	for _, at := range t.list {
		for _, field := range []int{pcfile, pcln, cuOffset, startLine} {
			clear(t.functions[at+field : at+field+4])
		}
	}
	clear(t.units)
	clear(t.files)
	return nil
}

// mark marks the bytes of the table of numbers that begins there: pairs of a difference
// of values and one of addresses, until a difference of values, not the first, is zero.
// Zero stands for no table.
func (t *tables) mark(marked []bool, from int) error {
	if from == 0 {
		return nil
	}
	if from >= len(t.pcs) {
		return fmt.Errorf("its table of numbers is at %d of %d", from, len(t.pcs))
	}
	at := from
	for first, value := true, true; ; value = !value {
		v, n := binary.Uvarint(t.pcs[at:])
		if n <= 0 || n > 5 || v > 1<<32-1 {
			return fmt.Errorf("its table of numbers at %d does not end", from)
		}
		at += n
		if value && v == 0 && !first {
			break
		}
		first = false
	}
	for i := from; i < at; i++ {
		marked[i] = true
	}
	return nil
}
