package class

// KindNamed is the way back from Kind.String.
func KindNamed(s string) (Kind, bool) { return named(s, Melody, Exercise) }

// WhichNamed is the way back from Which.String.
func WhichNamed(s string) (Which, bool) { return named(s, Last, Best) }

// ChosenNamed is the way back from Chosen.String.
func ChosenNamed(s string) (Chosen, bool) { return named(s, Asked, Doubt, Sample) }

func named[T interface{ String() string }](s string, among ...T) (none T, ok bool) {
	for _, v := range among {
		if v.String() == s {
			return v, true
		}
	}
	return none, false
}
