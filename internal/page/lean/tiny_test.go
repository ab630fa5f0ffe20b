package main

import (
	"bytes"
	"encoding/binary"
	"slices"
	"strings"
	"testing"
)

// Where the tables of tiny begin in its memory, and its numbers and functions in them.
const (
	tinyAt    = 16
	numbersAt = tinyAt + headerSize + 24 + 12 + 16
	firstAt   = numbersAt + 16 + 24
	secondAt  = firstAt + 56
)

// tiny is a module of a few bytes with tables of two functions, on which change acts;
// less is taken from their magic number.
func tiny(change func(memory []byte), less byte) []byte {
	names := []byte("runtime.main\x00main.main\x00\x00")
	units := []byte{0, 0, 0, 0, 8, 0, 0, 0, 0xff, 0xff, 0xff, 0xff}
	files := []byte("main.go\x00proc.go\x00")
	numbers := []byte{
		0,       // no table
		2, 8, 0, // 1: stack of the first, and data
		0, 5, 0, // 4: files of both, and stack of the second
		4, 6, 2, 5, 0, // 7: lines of the first
		1, 4, 0, // 12: lines of the second
		0,
	}
	var functions []byte
	for _, v := range []uint32{
		0, 24, 1, 80, 2, 0, // where they are; the last address
		0, 0, 0, 0, 1, 4, 7, 1, 0, 3, 1 << 24, 1, 77, 0, // with one table of data, and one more word
		1, 13, 8, 5, 4, 4, 12, 0, 1, 9, 0,
	} {
		functions = binary.LittleEndian.AppendUint32(functions, v)
	}
	head := append([]byte{header[0] - less}, header[1:]...)
	for _, v := range []uint64{2, 2, 0} {
		head = binary.LittleEndian.AppendUint64(head, v)
	}
	at := headerSize
	for _, part := range [][]byte{names, units, files, numbers, functions} {
		head = binary.LittleEndian.AppendUint64(head, uint64(at))
		at += len(part)
	}
	memory := slices.Concat(make([]byte, tinyAt), head, names, units, files, numbers, functions, make([]byte, 200), []byte("la"))
	change(memory)
	out := append([]byte(magic), memorySection, 3, 1, 0, 1)
	return append(appendData(out, memory), 0, 3, 1, 'x', 'y')
}

func memoryOf(t *testing.T, module []byte) (data, []byte) {
	t.Helper()
	d, err := dataOf(module)
	if err != nil {
		t.Fatal(err)
	}
	memory, err := d.memory(module)
	if err != nil {
		t.Fatal(err)
	}
	return d, memory
}

// Exactly what is only for lines goes; what two use stays.
func TestTiny(t *testing.T) {
	module := tiny(func([]byte) {}, 0)
	_, want := memoryOf(t, module)
	clear(want[numbersAt-16-12 : numbersAt]) // units and files
	clear(want[numbersAt+7 : numbersAt+15])  // lines
	for _, f := range []int{firstAt, secondAt} {
		clear(want[f+20 : f+28])
		clear(want[f+32 : f+40])
	}
	thinner, err := lean(module)
	if err != nil {
		t.Fatal(err)
	}
	if d, got := memoryOf(t, thinner); !bytes.Equal(got, want) || len(d.segments) != 2 {
		t.Errorf("%d segments,\n%v\nwant\n%v", len(d.segments), got, want)
	}
	if !bytes.HasPrefix(thinner, module[:13]) || !bytes.HasSuffix(thinner, module[len(module)-5:]) {
		t.Error("what is around the data is another")
	}
}

func TestTinyRefused(t *testing.T) {
	for name, c := range map[string]struct {
		at   int
		v    byte
		want string
	}{
		"no such name":            {firstAt + 4, 200, "function 0 has no name"},
		"half of a name":          {firstAt + 4, 3, "function 0 has no name"},
		"no runtime.main":         {tinyAt + headerSize, 'R', "no runtime.main"},
		"a unit far away":         {secondAt + 32, 99, "main.main is of the unit at 99"},
		"half of a file":          {numbersAt - 16 - 12, 3, "a file of the unit at 0 is at 3"},
		"files that are missing":  {tinyAt + 16, 9, "2 files, want 9"},
		"numbers far away":        {firstAt + 20, 16, "function 0: its table of numbers is at 16 of 16"},
		"data far away":           {firstAt + 44, 99, "function 0: its table of numbers is at 99"},
		"numbers without an end":  {numbersAt + 14, 1, "function 1: its table of numbers at 12 does not end"},
		"numbers for nobody":      {firstAt + 24, 4, "nobody knows what byte 7"},
		"an entry of its own":     {firstAt, 1, "function 0 lies at 24 of"},
		"a function elsewhere":    {numbersAt + 16 + 12, 88, "function 1 lies at 88 of"},
		"too many data":           {firstAt + 28, 255, "function 0 has 1068 bytes"},
		"too many functions":      {tinyAt + 9, 1, "258 functions in"},
		"a table longer than all": {tinyAt + 71, 1, "word 8 of its header"},
		"no numbers":              {tinyAt + 64, numbersAt - tinyAt, "its numbers do not begin with zero"},
		"numbers from the first":  {numbersAt, 1, "its numbers do not begin with zero"},
		"tables in another order": {tinyAt + 40, 0, "its header says"},
	} {
		_, err := lean(tiny(func(m []byte) { m[c.at] = c.v }, 0))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if _, err := lean(tiny(func(m []byte) { m[len(m)-1], m[len(m)-2] = 0, 0 }, 0)); err == nil || !strings.Contains(err.Error(), "function 1 lies at 80 of") {
		t.Errorf("nothing behind the tables: %v", err)
	}
	twice := tiny(func([]byte) {}, 0)
	_, memory := memoryOf(t, twice)
	twice = appendData(append([]byte(magic), memorySection, 3, 1, 0, 1), append(memory, memory...))
	if _, err := lean(twice); err == nil || !strings.Contains(err.Error(), "two tables of functions") {
		t.Errorf("two tables: %v", err)
	}
}

// Numbers in LEB128 as the specification writes them (WebAssembly Core Specification
// 1.0, 5.2.2). 624485 and -123456 are examples that are often given, from memory.
func TestNumbers(t *testing.T) {
	for want, b := range map[int][]byte{
		0: {0}, 63: {63}, 64: {0xc0, 0}, 127: {0xff, 0}, -1: {0x7f}, -64: {0x40}, 624485: {0xe5, 0x8e, 0x26}, -123456: {0xc0, 0xbb, 0x78},
		1<<31 - 1: {0xff, 0xff, 0xff, 0xff, 7}, -1 << 31: {0x80, 0x80, 0x80, 0x80, 0x78},
	} {
		r := &reader{b: b, ok: true}
		if got := r.s32(); got != want || !r.ok || r.at != len(b) {
			t.Errorf("%x: %d, want %d", b, got, want)
		}
		if want >= 0 {
			if got := appendS32(nil, want); !bytes.Equal(got, b) {
				t.Errorf("%d: %x, want %x", want, got, b)
			}
		}
	}
	for _, b := range [][]byte{{}, {0x80}, {0xff, 0xff, 0xff, 0xff, 0xff, 0}, {0xff, 0xff, 0xff, 0xff, 8}} {
		r := &reader{b: b, ok: true}
		if got := r.s32(); r.ok {
			t.Errorf("%x is read as %d", b, got)
		}
	}
}

// Whatever the module is, it is refused, or its memory is as it was but for what has
// become zero, and lean again it stays as it is.
func FuzzLean(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte(magic))
	f.Add(tiny(func([]byte) {}, 0))
	f.Add(tiny(func([]byte) {}, 1))
	f.Add(tiny(func(m []byte) { m[numbersAt+14] = 1 }, 0))
	f.Add(tiny(func(m []byte) { m[firstAt+24] = 4 }, 0))
	f.Fuzz(func(t *testing.T, module []byte) {
		before := bytes.Clone(module)
		thinner, err := lean(module)
		if !bytes.Equal(module, before) {
			t.Fatal("the module itself was changed")
		}
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q", err)
			}
			return
		}
		d, was := memoryOf(t, module)
		e, now := memoryOf(t, thinner)
		if len(now) > len(was) {
			t.Fatalf("%d bytes of memory, were %d", len(now), len(was))
		}
		for i, c := range now {
			if c != was[i] && c != 0 {
				t.Fatalf("byte %d of the memory is %d, was %d", i, c, was[i])
			}
		}
		if !bytes.Equal(thinner[:e.from], module[:d.from]) || !bytes.Equal(thinner[e.to:], module[d.to:]) {
			t.Fatal("what is around the data is another")
		}
		if again, err := lean(thinner); err != nil || !bytes.Equal(again, thinner) {
			t.Fatalf("a lean program does not stay as it is: %v", err)
		}
	})
}
