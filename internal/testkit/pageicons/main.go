// Command pageicons draws the icon of the page, a voice that climbs onto a rung of the
// ladder of degrees and stays there, into the folder it is given: as SVG, and as the PNG
// files that systems ask for. It makes the same bytes each time.
package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: pageicons FOLDER")
		os.Exit(2)
	}
	for name, data := range icons() {
		if err := os.WriteFile(filepath.Join(os.Args[1], name), data, 0o644); err != nil {
			fmt.Fprintln(os.Stderr, "pageicons:", err)
			os.Exit(1)
		}
	}
}

// side is the side of the square that the icon is drawn in.
const side = 64.0

// maskable is how far what is drawn is made smaller, so that it lies within the circle of
// 80 % of the side that every mask leaves.
const maskable = 0.76

var ground = color.RGBA{0x0a, 0x55, 0x68, 0xff}

// A stroke is a line through points, with round ends.
type stroke struct {
	points [][2]float64
	width  float64
	colour color.RGBA
}

// strokes are the rungs, from above, and the voice.
func strokes() []stroke {
	var all []stroke
	for _, y := range []float64{14, 26, 38, 50} {
		all = append(all, stroke{[][2]float64{{13, y}, {51, y}}, 2.4, color.RGBA{0x6f, 0xb3, 0xc2, 0xff}})
	}
	var voice [][2]float64
	for x := 16.0; x <= 49; x += 0.5 {
		up := 1 / (1 + math.Exp(-(x-23)/2.2))
		wave := 2.6 * math.Sin((x-29)*0.62) / (1 + math.Exp(-(x-30)/1.5))
		voice = append(voice, [2]float64{x, 51 - 25*up - wave})
	}
	return append(all, stroke{voice, 5.2, color.RGBA{0xff, 0xfd, 0xf8, 0xff}})
}

// icons are the files by their names.
func icons() map[string][]byte {
	return map[string][]byte{
		"icon.svg":              drawn(),
		"icon-180.png":          painted(180, 0, 1),
		"icon-192.png":          painted(192, 14, 1),
		"icon-512.png":          painted(512, 14, 1),
		"icon-maskable-512.png": painted(512, 0, maskable),
	}
}

func drawn() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><rect width="64" height="64" rx="14" fill="%s"/><g fill="none" stroke-linecap="round" stroke-linejoin="round">`, hex(ground))
	for _, s := range strokes() {
		var d strings.Builder
		for i, p := range s.points {
			if len(s.points) > 2 && i%3 != 0 {
				continue // the curve is smooth enough with every third point
			}
			letter := "L"
			if i == 0 {
				letter = "M"
			}
			fmt.Fprintf(&d, "%s%.1f %.1f", letter, p[0], p[1])
		}
		fmt.Fprintf(&b, `<path d="%s" stroke="%s" stroke-width="%g"/>`, d.String(), hex(s.colour), s.width)
	}
	b.WriteString("</g></svg>\n")
	return []byte(b.String())
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// painted is the icon as PNG of so many pixels, with rounded corners, and with what is
// drawn on the ground scaled about the middle.
func painted(pixels int, round, scale float64) []byte {
	samples := 4      // a side, of each pixel
	if pixels > 256 { // where pixels are small, few tones are enough, and make a smaller file
		samples = 2
	}
	points := make([]color.NRGBA, 0, pixels*pixels)
	all := strokes()
	for py := range pixels {
		for px := range pixels {
			var r, g, b, a float64
			for i := range samples * samples {
				x := (float64(px) + (float64(i%samples)+0.5)/float64(samples)) * side / float64(pixels)
				y := (float64(py) + (float64(i/samples)+0.5)/float64(samples)) * side / float64(pixels)
				if !inside(x, y, round) {
					continue
				}
				c := at(all, (x-side/2)/scale+side/2, (y-side/2)/scale+side/2)
				r, g, b, a = r+float64(c.R), g+float64(c.G), b+float64(c.B), a+1
			}
			c := color.NRGBA{}
			if a > 0 {
				c = color.NRGBA{uint8(r/a + 0.5), uint8(g/a + 0.5), uint8(b/a + 0.5), uint8(255*a/float64(samples*samples) + 0.5)}
			}
			points = append(points, c)
		}
	}
	picture := paletted(points, pixels)
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestCompression}
	if err := encoder.Encode(&out, picture); err != nil {
		panic(err) // into memory, of a picture that is there
	}
	return out.Bytes()
}

// paletted is a picture with a table of its colours, which makes a small file. Few
// samples of few colours make at most 256 of them.
func paletted(points []color.NRGBA, pixels int) *image.Paletted {
	picture := image.NewPaletted(image.Rect(0, 0, pixels, pixels), nil)
	index := map[color.NRGBA]uint8{}
	for i, c := range points {
		at, ok := index[c]
		if !ok {
			if len(picture.Palette) == 256 {
				panic("pageicons: more than 256 colours")
			}
			at = uint8(len(picture.Palette))
			index[c] = at
			picture.Palette = append(picture.Palette, c)
		}
		picture.Pix[i] = at
	}
	return picture
}

// inside tells whether a point lies in the square with rounded corners.
func inside(x, y, round float64) bool {
	dx := math.Max(0, math.Max(round-x, x-(side-round)))
	dy := math.Max(0, math.Max(round-y, y-(side-round)))
	return dx*dx+dy*dy <= round*round || dx == 0 || dy == 0
}

// at is the colour of a point: of the last stroke that covers it, or the ground.
func at(all []stroke, x, y float64) color.RGBA {
	c := ground
	for _, s := range all {
		for i := 1; i < len(s.points); i++ {
			if s.points[i][0] < x-s.width || s.points[i-1][0] > x+s.width { // points go to the right
				continue
			}
			if distance(s.points[i-1], s.points[i], x, y) <= s.width/2 {
				c = s.colour
				break
			}
		}
	}
	return c
}

// distance is that of a point from the line between two others.
func distance(p, q [2]float64, x, y float64) float64 {
	dx, dy := q[0]-p[0], q[1]-p[1]
	t := ((x-p[0])*dx + (y-p[1])*dy) / (dx*dx + dy*dy)
	t = math.Max(0, math.Min(1, t))
	return math.Hypot(x-p[0]-t*dx, y-p[1]-t*dy)
}
