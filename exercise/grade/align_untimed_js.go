package grade

// untimed leaves a line without rhythm to the costs of one with rhythm: whatever a
// browser grades has one, and need not load align_untimed.go.
func (s *search) untimed(Freedom) (a Alignment, ok bool) { return a, false }
