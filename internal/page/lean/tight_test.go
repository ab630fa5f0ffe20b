package main

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// coded is a module of functions, each without its size, and of a section that follows.
func coded(functions ...[]byte) []byte {
	body := binary.AppendUvarint(nil, uint64(len(functions)))
	for _, f := range functions {
		body = append(binary.AppendUvarint(body, uint64(len(f))), f...)
	}
	out := append([]byte(magic), 0, 2, 1, 'n', codeSection)
	out = append(binary.AppendUvarint(out, uint64(len(body))), body...)
	return append(out, 0, 3, 1, 'x', 'y')
}

// calling is a function as Go writes them: with a table of three blocks that enters the
// first for places 0 and 1, a call in the second, a jump back to place 0, and each kind of
// operand.
func calling(number int) []byte {
	call := appendS32(slices.Concat([]byte{0x0b}, callPush), number<<16|3)
	return slices.Concat([]byte{1, 3, 0x7e}, // locals
		[]byte{2, 0x40, 3, 0x40, 2, 0x40, 2, 0x40, 2, 0x40, 0x20, 0, 0x0e, 4, 0, 0, 1, 2, 3}, // blocks and table
		call, callStore, []byte{0x81, 2}, callBack, []byte{3}, // a call of function 257
		[]byte{0x0b, 0x20, 1, 0xad, 0x42, 0x90, 1, 0x7c, 0xa7, 0x20, 1, 0x29, 3, 24, 0x37, 3, 0x80, 1}, // stack[24] to stack[144]
		[]byte{0x04, 0x40, 0x41, 0, 0x21, 0, 0x0c, 2, 0x05, 0x41, 0x7f, 0x1a, 0x0b},                    // back to 0
		[]byte{0x43, 1, 2, 3, 4, 0x44, 1, 2, 3, 4, 5, 6, 7, 8, 0x11, 2, 0, 0xfc, 10, 0, 0, 0xfc, 11, 0, 0xfc, 2, 0x3f, 0},
		appendS32([]byte{0x42}, number<<16|2), []byte{0x42, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x7f},
		[]byte{0x0b, 0x0b, 0x0b, 0x0b})
}

// A function, and its tight form written by hand.
func TestTightByHand(t *testing.T) {
	module := coded([]byte{0, 0x0b}, calling(firstFunction+1))
	tight, err := tighten(module)
	if err != nil {
		t.Fatal(err)
	}
	// Its table enters block 0 from place 0 on, block 1 from 2, block 2 from 3.
	want := slices.Concat([]byte{2, 0, 0x0b}, // two functions; the first: no locals, and the end
		[]byte{1, 3, 0x7e, spBlocks, 1, 0x03, 0x40, spBlocks, 3, 0x20, 0},
		[]byte{0x0e, 4, 0, 0, 2, 2, 2},                              // one further, twice the number
		[]byte{0x0b, spCall, 2, 0x81, 2},                            // place 3 is one behind where block 1 begins
		[]byte{0x0b, spAddress, 18, spLoad, 3, 0x37, 16},            // 144, 24 and 128 in eights
		[]byte{0x04, 0x40, spJump, 3, 0x05, 0x41, 0x7f, 0x1a, 0x0b}, // place 0 is two before 2: in the condition block 1 is what counts
		[]byte{0x43, 1, 2, 3, 4, 0x44, 1, 2, 3, 4, 5, 6, 7, 8, 0x11, 2, 0, 0xfc, 10, 0, 0, 0xfc, 11, 0, 0xfc, 2, 0x3f, 0},
		[]byte{spReturn, 1, 0x42, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x7f}, // place 2 is one before 3
		[]byte{0x0b, 0x0b, 0x0b, 0x0b, 0, 3, 1, 'x', 'y'})
	before := bytes.IndexByte(module, codeSection) + 3 // with its size
	if got := tight[tightHead:]; !bytes.Equal(got[:before], module[:before]) || !bytes.Equal(got[before:], want) {
		t.Errorf("%x\nwant %x, %x", got, module[:before], want)
	}
}

// loosenInNode goes the way of the page from each form to a module: it says, on a line
// for each, "same" where the module is the one given, "other", or why not.
const loosenInNode = `
const fs = require("fs");
const [script, ...files] = process.argv.slice(1);
const loosen = new Function(fs.readFileSync(script, "utf8") + "; return loosen;")();
const [module, ...forms] = files.map((f) => new Uint8Array(fs.readFileSync(f)));
for (const form of forms) {
  try {
    console.log(Buffer.compare(loosen(form), module) === 0 ? "same" : "other");
  } catch (e) {
    console.log(e.message);
  }
}
`

// inNode is what loosenInNode says.
func inNode(t *testing.T, module []byte, forms ...[]byte) []string {
	t.Helper()
	node := testkit.Tool(t, "node")
	dir := t.TempDir()
	args := []string{"-e", loosenInNode, filepath.Join("..", "web", "tight.js")}
	for i, b := range append([][]byte{module}, forms...) {
		name := filepath.Join(dir, string(rune('a'+i/26))+string(rune('a'+i%26)))
		if err := os.WriteFile(name, b, 0o666); err != nil {
			t.Fatal(err)
		}
		args = append(args, name)
	}
	said, err := exec.Command(node, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	return strings.Split(strings.TrimSpace(string(said)), "\n")
}

// The page makes the same bytes of the tight form, of a module what it is, and of a
// damaged form nothing.
func TestTightInNode(t *testing.T) {
	small := coded([]byte{0, 0x0b}, calling(firstFunction+1), calling(1))
	for name, module := range map[string][]byte{"small": small, "a program": contents(t, buildPanics(t))} {
		tight, err := tighten(module)
		if err != nil {
			t.Fatal(err)
		}
		if name != "small" && 10*len(tight) > 8*len(module) {
			t.Errorf("%s: %d bytes tight, %d as it was", name, len(tight), len(module))
		}
		forms := [][]byte{tight, module}
		for i := range 40 {
			bad := slices.Clone(tight)
			switch at := (i*i*7919 + i) % len(bad); {
			case i%4 == 3:
				bad = bad[:at]
			case i%4 == 2:
				bad = append(bad, 0)
			default:
				bad[at] ^= byte(1 + i)
			}
			if _, err := loosen(bad); err == nil {
				t.Errorf("%s: damage %d is not found", name, i)
			}
			forms = append(forms, bad)
		}
		for i, said := range inNode(t, module, forms...) {
			if want := []string{"same", "same", "it is damaged"}[min(i, 2)]; said != want {
				t.Errorf("%s: form %d: %q, want %q", name, i, said, want)
			}
		}
	}
}

// What no Go program has is refused.
func TestTightRefused(t *testing.T) {
	for name, c := range map[string]struct {
		module []byte
		want   string
	}{
		"empty":                  {nil, "no WebAssembly module"},
		"no code":                {tiny(func([]byte) {}, 0), "no code"},
		"cut short":              {coded([]byte{0, 0x0b})[:16], "cut short"},
		"a new instruction":      {coded([]byte{0, 0xd2, 0, 0x0b}), "function 0: no instruction of Go is d2"},
		"a byte of our own":      {coded([]byte{0, spCall, 0, 0x0b}), "function 0: no instruction of Go is e0"},
		"a new prefix":           {coded([]byte{0, 0xfc, 12, 0x0b}), "function 0: no instruction of Go is fc0c"},
		"another alignment":      {coded([]byte{0, 0x29, 0, 8, 0x0b}), "instruction 29 is not aligned"},
		"an early end":           {coded([]byte{0, 0x0b, 0x0b}), "function 0 does not end"},
		"no end":                 {coded([]byte{0, 0x01}), "function 0 does not end"},
		"more than functions":    {append(append([]byte(magic), codeSection, 2), 0, 0), "more than functions"},
		"a number in more bytes": {coded([]byte{0, 0x29, 3, 0x88, 0, 0x0b}), "leads elsewhere"},
	} {
		if _, err := tighten(c.module); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// Whatever the module is, it is refused, or comes back.
func FuzzTighten(f *testing.F) {
	f.Add([]byte(magic))
	f.Add(coded())
	f.Add(coded([]byte{0, 0x0b}, calling(firstFunction+1), calling(firstFunction+1)))
	f.Fuzz(func(t *testing.T, module []byte) {
		before := bytes.Clone(module)
		tight, err := tighten(module)
		if !bytes.Equal(module, before) {
			t.Fatal("the module itself was changed")
		}
		if err != nil {
			return
		}
		if back, err := loosen(tight); err != nil || !bytes.Equal(back, module) {
			t.Fatalf("%v, %d bytes of %d", err, len(back), len(module))
		}
	})
}

// Whatever the form is, it is refused, or is of a module as long and with the checksum
// that it says. The fuzzer knows no checksums: rest follows a head that is right.
func FuzzLoosen(f *testing.F) {
	for _, module := range [][]byte{coded(), coded([]byte{0, 0x0b}, calling(firstFunction+1))} {
		tight, err := tighten(module)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint32(len(module)), checksum(module), uint32(16), tight[tightHead:])
	}
	f.Fuzz(func(t *testing.T, length, sum, head uint32, rest []byte) {
		form := []byte(tightMark)
		for _, v := range []uint32{length, sum, head} {
			form = binary.LittleEndian.AppendUint32(form, v)
		}
		module, err := loosen(append(form, rest...))
		if err == nil && (len(module) != int(length) || checksum(module) != sum) {
			t.Fatalf("%d bytes, want %d", len(module), length)
		}
	})
}
