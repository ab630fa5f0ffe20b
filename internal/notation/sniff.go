package notation

// HoldsNames reports whether Read takes what a file holds for names, since it is in
// none of the file formats.
func HoldsNames(name string, b []byte) bool { return detect(name, b) == Names }
