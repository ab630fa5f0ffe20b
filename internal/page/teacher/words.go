package teacher

import (
	"fmt"

	"singback/internal/class"
)

// criteria are the things a rubric counts, by the names that the desk's words have.
var criteria = [class.Criteria]string{"faults", "jury", "notes", "intervals", "rhythm", "flow", "bars", "segments", "intonation", "steadiness"}

func criterion(c class.Criterion) string {
	if c < 0 || c >= class.Criteria {
		return fmt.Sprintf("criterion %d", c)
	}
	return criteria[c]
}
