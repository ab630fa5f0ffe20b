// Command lean takes the line tables out of a Go program for js/wasm: a panic then
// names functions without lines. And it joins its data, which Go divides wherever there
// are eight zeros, into a few segments. Line tables and addresses of segments pack
// badly: both together are a seventh of what a browser has to load.
//
//	lean FILE
//
// It changes the file in one step or, if anything in it is not exactly as Go 1.26
// writes it, not at all: then it says on one line what is not, and exits 1. A file that
// has been through it stays as it is.
//
//	lean FILE TIGHT
//
// leaves FILE as it is, and writes into TIGHT the same program in a form that packs better
// by a quarter: see tight.go. The page's worker makes the same bytes of it again.
package main

import (
	"fmt"
	"os"
)

func main() {
	var err error
	switch len(os.Args) {
	case 2:
		err = leanFile(os.Args[1])
	case 3:
		err = tightFile(os.Args[1], os.Args[2])
	default:
		fmt.Fprintln(os.Stderr, "usage: lean FILE [TIGHT]")
		os.Exit(2)
	}
	if err != nil {
		fmt.Fprintf(os.Stderr, "lean: %v\n", err)
		os.Exit(1)
	}
}

// leanFile takes the line tables out of a file.
func leanFile(name string) error {
	module, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	thinner, err := lean(module)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return write(name, thinner)
}

// tightFile writes the tight form of a file into another.
func tightFile(name, to string) error {
	module, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	tight, err := tighten(module)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return write(to, tight)
}

// write writes a file in one step.
func write(name string, content []byte) error {
	beside := name + ".new"
	if err := os.WriteFile(beside, content, 0o666); err != nil {
		return err
	}
	if err := os.Rename(beside, name); err != nil {
		os.Remove(beside)
		return err
	}
	return nil
}

// lean returns a module without its line tables.
func lean(module []byte) ([]byte, error) {
	d, err := dataOf(module)
	if err != nil {
		return nil, err
	}
	memory, err := d.memory(module)
	if err != nil {
		return nil, err
	}
	t, err := findTables(memory)
	if err != nil {
		return nil, err
	}
	if err := t.clear(); err != nil {
		return nil, err
	}
	out := append([]byte(nil), module[:d.from]...)
	out = appendData(out, memory)
	return append(out, module[d.to:]...), nil
}
