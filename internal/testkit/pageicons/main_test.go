package main

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

// The icons of the page are those that this program makes, and of the sizes that the
// manifest promises.
func TestIconsOfThePage(t *testing.T) {
	sizes := map[string]int{"icon-180.png": 180, "icon-192.png": 192, "icon-512.png": 512, "icon-maskable-512.png": 512}
	for name, want := range icons() {
		got, err := os.ReadFile(filepath.Join("../../page/web", name))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is not what pageicons makes: run go run ./internal/testkit/pageicons internal/page/web", name)
		}
		if name == "icon.svg" {
			continue
		}
		picture, err := png.Decode(bytes.NewReader(got))
		if err != nil {
			t.Fatal(err)
		}
		if b := picture.Bounds(); b.Dx() != sizes[name] || b.Dy() != sizes[name] {
			t.Errorf("%s is %v, want %d a side", name, b, sizes[name])
		}
	}
}

// What a mask may cut off, all outside a circle of 80 % of the side (the manifest's safe
// zone for maskable icons), is ground alone, and the ground goes to the edge.
func TestMaskableIcon(t *testing.T) {
	picture, err := png.Decode(bytes.NewReader(painted(512, 0, maskable)))
	if err != nil {
		t.Fatal(err)
	}
	for y := range 512 {
		for x := range 512 {
			dx, dy := float64(x)-255.5, float64(y)-255.5
			if dx*dx+dy*dy < 205*205 {
				continue
			}
			r, g, b, a := picture.At(x, y).RGBA()
			if r>>8 != uint32(ground.R) || g>>8 != uint32(ground.G) || b>>8 != uint32(ground.B) || a>>8 != 0xff {
				t.Fatalf("at %d, %d: %d %d %d %d, want the ground", x, y, r>>8, g>>8, b>>8, a>>8)
			}
		}
	}
}
