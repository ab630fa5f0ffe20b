package sheet

import "cmp"

// Axis tells where From and To lie in a picture of a stretch, in parts of its width: what
// moves over the picture needs that.
func (p Picture) Axis() (left, right float64) {
	width := max(480, float64(cmp.Or(p.Width, 900)))
	return gutter / width, 1 - rightEdge/width
}
