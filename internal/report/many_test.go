package report

import "testing"

func TestMany(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Many(1, "second"), "1 second"}, {Many(1.0, "second"), "1 second"}, {Many(0, "answer"), "0 answers"}, {Many(20.0, "second"), "20 seconds"},
		{Many(0.5, "second"), "0.5 seconds"}, {Many(1.5, "beat"), "1.5 beats"}, {Many(2, "melody"), "2 melodies"}, {Many(2, "day"), "2 days"},
		{Many(3, "bass degree"), "3 bass degrees"}, {Many(100000, "answer"), "100000 answers"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}
