package store

import (
	"fmt"
	"io"
	"os"

	"singback/calib"
	"singback/internal/kept"
)

// ReadFile reads a profile from any file.
func ReadFile(path string) (calib.Profile, error) {
	data, err := read(path)
	if err != nil {
		return calib.Profile{}, err
	}
	p, err := kept.DecodeProfile(data)
	if err != nil {
		return p, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

// read reads a file no further than needed to tell that it is too long. What
// is no plain file, like a pipe that never ends, is refused.
func read(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: %w: it is no plain file", path, ErrDamaged)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, kept.MaxProfile+1))
}
