package report

import "fmt"

// HandedIn is the record of a file that was handed in.
type HandedIn struct {
	Schema   int    `json:"schema"`
	File     string `json:"file"` // as the user named it
	Name     string `json:"name"` // in the folder
	Size     int64  `json:"size_bytes"`
	Pieces   int    `json:"pieces"`   // in which it lies there; 0: under its name
	There    bool   `json:"there"`    // it was there already
	Compared bool   `json:"compared"` // it was read back
}

// Text says it in a line.
func (h HandedIn) Text() string {
	if h.There {
		return fmt.Sprintf("%s was there already: %s.\n", h.Name, Bytes(h.Size))
	}
	how := "its size is right"
	if h.Compared {
		how = "read back, and the same"
	}
	switch {
	case h.Pieces > 1:
		how = fmt.Sprintf("in %d pieces, which singback class collect joins", h.Pieces)
	case h.Pieces == 1:
		how += "; it has the name of a piece there, which singback class collect knows"
	}
	return fmt.Sprintf("%s has arrived: %s, %s.\n", h.Name, Bytes(h.Size), how)
}

// Bytes is a size in words: whole bytes up to a thousand, else in kB, MB, GB.
func Bytes(n int64) string {
	x, unit := float64(n), "bytes"
	for _, next := range []string{"kB", "MB", "GB"} {
		if x < 999.5 {
			break
		}
		x, unit = x/1000, next
	}
	if unit == "bytes" {
		return Many(int(n), "byte")
	}
	if x < 9.95 {
		return fmt.Sprintf("%.1f %s", x, unit)
	}
	return fmt.Sprintf("%.0f %s", x, unit)
}
