package codec

import (
	"bufio"
	"io"
	"os"
	"strings"
)

// MP3 without a tag, raw AAC and AMR do not say how long they are, and their decoders take
// what there is. That such a file is half sent shows only in that its last frame is not
// whole.

// cutInFrame tells whether a file of frames ends within one.
func cutInFrame(path string) bool {
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return false // a pipe is read once
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	in := bufio.NewReaderSize(f, 1<<16)
	if skipTags(in) != nil {
		return true
	}
	head, _ := in.Peek(len(wideMagic))
	size := mpegFrame
	switch {
	case strings.HasPrefix(string(head), wideMagic):
		size = amrFrame(amrWide)
		_, _ = in.Discard(len(wideMagic))
	case strings.HasPrefix(string(head), narrowMagic):
		size = amrFrame(amrNarrow)
		_, _ = in.Discard(len(narrowMagic))
	}
	for {
		head, err := in.Peek(longestHead)
		if len(head) == 0 {
			return false
		}
		n := size(head)
		if n == 0 { // something else stands there
			return err != nil && len(head) < 4 && head[0] == 0xff
		}
		if k, err := in.Discard(n); err != nil && err == io.EOF && k < n {
			return true
		}
	}
}

const (
	longestHead            = 7 // of ADTS
	narrowMagic, wideMagic = "#!AMR\n", "#!AMR-WB\n"
)

// mpegFrame is the size in bytes of the frame of MP3 or AAC that begins so; 0 if none does.
func mpegFrame(b []byte) int {
	if h := frameHeader(b); h.valid {
		return h.size
	}
	if len(b) == longestHead && b[0] == 0xff && b[1]&0xf6 == 0xf0 { // ISO/IEC 13818-7, 6.2
		return int(b[3]&3)<<11 | int(b[4])<<3 | int(b[5]>>5)
	}
	return 0
}

// The sizes of frames of AMR by their type, with the byte that tells it: RFC 4867, 5.3, and
// the bits of 3GPP TS 26.101 and 26.201; 0 is no type.
var (
	amrNarrow = [16]int{13, 14, 16, 18, 20, 21, 27, 32, 6, 0, 0, 0, 0, 0, 0, 1}
	amrWide   = [16]int{18, 24, 33, 37, 41, 47, 51, 59, 61, 6, 0, 0, 0, 0, 1, 1}
)

func amrFrame(sizes [16]int) func([]byte) int {
	return func(b []byte) int { return sizes[b[0]>>3&15] }
}

// cut is a decoder of a recording that ends within a frame.
type cut struct{ decoder }

func (c cut) next() ([]float32, error) {
	x, err := c.decoder.next()
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return x, err
}
