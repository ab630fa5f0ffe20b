package audio

import (
	"encoding/binary"
	"math"
)

// A decoder turns little-endian samples into numbers in [-1, 1], filling dst
// from as many samples of b.
type decoder func(w *WAV, dst []float64, b []byte)

// decoderFor returns nil for what is not read. PCM that does not fill its
// bytes lies in their upper bits, so the number of bytes decides.
func decoderFor(e Encoding, bits int) decoder {
	switch e {
	case PCM:
		switch (bits + 7) / 8 {
		case 1:
			return pcm8
		case 2:
			return pcm16
		case 3:
			return pcm24
		case 4:
			return pcm32
		}
	case Float:
		switch bits {
		case 32:
			return float32s
		case 64:
			return float64s
		}
	case ALaw:
		if bits == 8 {
			return aLaw
		}
	case MuLaw:
		if bits == 8 {
			return muLaw
		}
	}
	return nil
}

// Samples of n bits are divided by 2^(n-1), so that −1 is the lowest.

func pcm8(_ *WAV, dst []float64, b []byte) {
	b = b[:len(dst)]
	for i, c := range b {
		dst[i] = float64(int(c)-128) * (1. / (1 << 7))
	}
}

func pcm16(_ *WAV, dst []float64, b []byte) {
	for i := range dst {
		dst[i] = float64(int16(binary.LittleEndian.Uint16(b))) * (1. / (1 << 15))
		b = b[2:]
	}
}

func pcm24(_ *WAV, dst []float64, b []byte) {
	for i := range dst {
		_ = b[2]
		dst[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) * (1. / (1 << 31))
		b = b[3:]
	}
}

func pcm32(_ *WAV, dst []float64, b []byte) {
	for i := range dst {
		dst[i] = float64(int32(binary.LittleEndian.Uint32(b))) * (1. / (1 << 31))
		b = b[4:]
	}
}

func float32s(w *WAV, dst []float64, b []byte) {
	for i := range dst {
		x := float64(math.Float32frombits(binary.LittleEndian.Uint32(b)))
		if !(x >= -1 && x <= 1) {
			x = w.tame(x)
		}
		dst[i] = x
		b = b[4:]
	}
}

func float64s(w *WAV, dst []float64, b []byte) {
	for i := range dst {
		x := math.Float64frombits(binary.LittleEndian.Uint64(b))
		if !(x >= -1 && x <= 1) {
			x = w.tame(x)
		}
		dst[i] = x
		b = b[8:]
	}
}

// tame brings a float sample into [-1, 1] and counts it.
func (w *WAV) tame(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		w.NotFinite++
		return 0
	}
	w.Over++
	return math.Copysign(1, x)
}

func aLaw(_ *WAV, dst []float64, b []byte) {
	b = b[:len(dst)]
	for i, c := range b {
		dst[i] = aLawTable[c]
	}
}

func muLaw(_ *WAV, dst []float64, b []byte) {
	b = b[:len(dst)]
	for i, c := range b {
		dst[i] = muLawTable[c]
	}
}

// The decoder output values of ITU-T G.711, tables 1a, 1b (A-law, overload at
// 4096) and 2a, 2b (mu-law, overload at 8159, here 8192 as 16-bit PCM has it),
// divided by 4096 and 8192.
var aLawTable, muLawTable = g711()

func g711() (a, mu [256]float64) {
	for code := range 256 {
		c := code ^ 0x55 // even bits are inverted on the line
		segment, step := c>>4&7, c&15
		y := 2*step + 1
		if segment > 0 {
			y = (2*step + 33) << (segment - 1)
		}
		if c&0x80 == 0 { // the sign bit is 1 for positive values
			y = -y
		}
		a[code] = float64(y) / 4096

		c = ^code // all bits are inverted on the line
		segment, step = c>>4&7, c&15
		y = (2*step+33)<<segment - 33
		if c&0x80 != 0 {
			y = -y
		}
		mu[code] = float64(y) / 8192
	}
	return a, mu
}

// frames decodes len(dst) frames of b into one channel.
func (w *WAV) frames(dst []float64, b []byte) {
	channels := w.Format.Channels
	if channels == 1 {
		w.decode(w, dst, b)
		return
	}
	x := w.scratch[:len(dst)*channels]
	w.decode(w, x, b)
	if w.channel > 0 {
		for i := range dst {
			dst[i] = x[i*channels+w.channel-1]
		}
		return
	}
	share := 1 / float64(channels)
	var mixed, apart float64
	for i := range dst {
		var sum float64
		for _, v := range x[i*channels : (i+1)*channels] {
			sum += v
			apart += v * v
		}
		dst[i] = sum * share
		mixed += dst[i] * dst[i]
	}
	w.mixed += mixed
	w.apart += apart * share
}

// reverse turns the byte order of samples of the given size.
func reverse(b []byte, size int) {
	for ; len(b) >= size; b = b[size:] {
		for i, j := 0, size-1; i < j; i, j = i+1, j-1 {
			b[i], b[j] = b[j], b[i]
		}
	}
}
