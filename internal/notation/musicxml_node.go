package notation

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"singback/theory"
)

// compressed reads the first score in a compressed MusicXML file.
func (r *reading) compressed(b []byte) (theory.Score, error) {
	b, err := uncompressed(b)
	if err != nil {
		return theory.Score{}, err
	}
	return r.musicXML(b)
}

// uncompressed returns the first score in a compressed MusicXML file.
func uncompressed(b []byte) ([]byte, error) {
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, fmt.Errorf("%w: it begins like a compressed file and is none: %v", ErrNotation, err)
	}
	unpack := func(name string) ([]byte, error) {
		for _, f := range z.File {
			if f.Name != name {
				continue
			}
			file, err := f.Open()
			if err != nil {
				return nil, fmt.Errorf("%w: %s in it: %v", ErrNotation, quote(name), err)
			}
			defer file.Close()
			// What it says about its size is not believed.
			data, err := io.ReadAll(io.LimitReader(file, MaxFile+1))
			if err == nil && len(data) > MaxFile {
				err = fmt.Errorf("unpacked it has more than %d MiB", MaxFile>>20)
			}
			if err != nil {
				return nil, fmt.Errorf("%w: %s in it: %v", ErrNotation, quote(name), err)
			}
			return data, nil
		}
		return nil, fmt.Errorf("%w: there is no %s in it", ErrNotation, quote(name))
	}
	container, err := unpack("META-INF/container.xml")
	if err != nil {
		return nil, err
	}
	x, err := newXML(container)
	if err != nil {
		return nil, err
	}
	for {
		t, err := x.token()
		if err == io.EOF {
			return nil, fmt.Errorf("%w: its META-INF/container.xml names no score", ErrNotation)
		}
		if err != nil {
			return nil, fmt.Errorf("%w: META-INF/container.xml in it: %v", ErrNotation, err)
		}
		e, ok := t.(xml.StartElement)
		if !ok || e.Name.Local != "rootfile" {
			continue
		}
		file := xmlNode{Attrs: e.Attr}
		if kind := file.attr("media-type"); kind == "" || strings.Contains(kind, "musicxml") {
			return unpack(file.attr("full-path"))
		}
	}
}

// Bounds of what is read of XML: elements within each other, elements of a bar,
// bytes of one tag.
const (
	maxDepth = 100
	maxNodes = 50_000
	maxTag   = 64 << 10
)

// xmlStream reads XML and keeps no more of it than it is asked for.
type xmlStream struct {
	d     *xml.Decoder
	depth int
}

// newXML begins to read a file in UTF-8, UTF-16 or a Latin character set.
func newXML(b []byte) (*xmlStream, error) {
	b, wide, err := fromUTF16(b)
	if err != nil {
		return nil, err
	}
	start := -1 // of the tag, if one is open
	for i, c := range b {
		switch {
		case c == '<' && i+1 < len(b) && b[i+1] != '!' && b[i+1] != '?':
			start = i
		case c == '>':
			start = -1
		case start >= 0 && i-start > maxTag:
			return nil, fmt.Errorf("%w: line %d: an element with more than %d KiB of attributes", ErrNotation, 1+bytes.Count(b[:start], []byte("\n")), maxTag>>10)
		}
	}
	d := xml.NewDecoder(bytes.NewReader(b))
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		switch charset = strings.ToLower(charset); {
		case wide && strings.HasPrefix(charset, "utf-16"):
			return in, nil
		case slices.Contains(latinNames, charset):
			data, err := io.ReadAll(in)
			return strings.NewReader(latin(data)), err
		}
		return nil, fmt.Errorf("the character set %s; want UTF-8, UTF-16, ISO-8859-1 or Windows-1252", quote(charset))
	}
	return &xmlStream{d: d}, nil
}

func (x *xmlStream) token() (xml.Token, error) {
	t, err := x.d.Token()
	switch t.(type) {
	case xml.StartElement:
		if x.depth++; x.depth > maxDepth {
			return nil, fmt.Errorf("more than %d elements within each other", maxDepth)
		}
	case xml.EndElement:
		x.depth--
	}
	return t, err
}

// skip reads to the end of the element that has begun.
func (x *xmlStream) skip() error {
	for depth := x.depth; x.depth >= depth; {
		if _, err := x.token(); err != nil {
			return err
		}
	}
	return nil
}

// node reads the element that has begun, of at most so many elements.
func (x *xmlStream) node(e xml.StartElement, left *int) (xmlNode, error) {
	n := xmlNode{Name: e.Name.Local, Attrs: e.Attr}
	if *left--; *left < 0 {
		return n, fmt.Errorf("an element of more than %d others", maxNodes)
	}
	for {
		t, err := x.token()
		if err != nil {
			return n, err
		}
		switch t := t.(type) {
		case xml.StartElement:
			child, err := x.node(t, left)
			if err != nil {
				return n, err
			}
			n.Nodes = append(n.Nodes, child)
		case xml.CharData:
			n.Text += string(t)
		case xml.EndElement:
			return n, nil
		}
	}
}

// whole reads the element that has begun.
func (x *xmlStream) whole(e xml.StartElement) (xmlNode, error) {
	left := maxNodes
	return x.node(e, &left)
}

// xmlNode is an element of a bar with everything in it.
type xmlNode struct {
	Name  string
	Attrs []xml.Attr
	Text  string
	Nodes []xmlNode
}

func (n *xmlNode) child(name string) *xmlNode {
	for i := range n.Nodes {
		if n.Nodes[i].Name == name {
			return &n.Nodes[i]
		}
	}
	return nil
}

func (n *xmlNode) text(names ...string) string {
	for _, name := range names {
		if n = n.child(name); n == nil {
			return ""
		}
	}
	return strings.TrimSpace(n.Text)
}

func (n *xmlNode) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// failed adds the line to an error about XML.
func (x *xmlStream) failed(err error) error {
	if errors.Is(err, ErrNotation) {
		return err
	}
	line, _ := x.d.InputPos()
	text := err.Error()
	if syntax := (*xml.SyntaxError)(nil); errors.As(err, &syntax) {
		text = syntax.Msg
	}
	return fmt.Errorf("%w: line %d: %s", ErrNotation, line, text)
}
