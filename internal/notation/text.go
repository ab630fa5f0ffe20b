package notation

import (
	"encoding/binary"
	"fmt"
	"unicode/utf16"
	"unicode/utf8"
)

// fromUTF16 turns text in UTF-16 into UTF-8, and takes the byte order mark from
// either. Text in UTF-16 is known by its mark, XML without one by its first
// character (XML 1.0, appendix F).
func fromUTF16(b []byte) (text []byte, wide bool, err error) {
	var order binary.ByteOrder
	switch {
	case len(b) >= 3 && string(b[:3]) == "\xef\xbb\xbf":
		return b[3:], false, nil
	case len(b) >= 2 && string(b[:2]) == "\xff\xfe":
		order, b = binary.LittleEndian, b[2:]
	case len(b) >= 2 && string(b[:2]) == "\xfe\xff":
		order, b = binary.BigEndian, b[2:]
	case len(b) >= 4 && b[0] == '<' && b[1] == 0 && b[3] == 0:
		order = binary.LittleEndian
	case len(b) >= 4 && b[1] == '<' && b[0] == 0 && b[2] == 0:
		order = binary.BigEndian
	default:
		return b, false, nil
	}
	if len(b)%2 != 0 {
		return nil, true, fmt.Errorf("%w: text in UTF-16 that ends in the middle of a character", ErrNotation)
	}
	text = make([]byte, 0, len(b))
	for i := 0; i < len(b); i += 2 {
		r := rune(order.Uint16(b[i:]))
		if utf16.IsSurrogate(r) {
			low := rune(0)
			if i+4 <= len(b) {
				low = rune(order.Uint16(b[i+2:]))
			}
			if r = utf16.DecodeRune(r, low); r == utf8.RuneError {
				return nil, true, fmt.Errorf("%w: byte %d is half a character of UTF-16", ErrNotation, i+1)
			}
			i += 2
		}
		text = utf8.AppendRune(text, r)
	}
	return text, true, nil
}

// latinNames are names of character sets that are read as Windows-1252, which
// those who write ISO-8859-1 mean too: its only other characters are controls
// (WHATWG, Encoding Standard, 4.2).
var latinNames = []string{"iso-8859-1", "iso8859-1", "latin1", "latin-1", "l1", "us-ascii", "ascii", "windows-1252", "cp1252", "x-cp1252"}

// windows1252 are the characters of the bytes from 0x80 to 0x9f.
var windows1252 = [32]rune{'€', 0x81, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0x8d, 'Ž', 0x8f,
	0x90, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0x9d, 'ž', 'Ÿ'}

// latin reads text in Windows-1252.
func latin(b []byte) string {
	out := make([]byte, 0, len(b)+len(b)/8)
	for _, c := range b {
		r := rune(c)
		if c >= 0x80 && c <= 0x9f {
			r = windows1252[c-0x80]
		}
		out = utf8.AppendRune(out, r)
	}
	return string(out)
}

// undeclared is text without a declaration: UTF-8 or UTF-16 or, where it is neither,
// Windows-1252.
func undeclared(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	return latin(b)
}
