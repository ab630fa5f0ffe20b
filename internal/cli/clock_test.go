package cli

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones of the clock below, whatever the machine has
)

// clockEnv sets the clock of all tests of this package, in this process and in
// the ones they start: a time of day and a zone, like
// "2026-03-29 01:59:40 Europe/Berlin".
const clockEnv = "SINGBACK_TEST_CLOCK"

// standing is the time at which the clock of the tests stands.
var standing = func() time.Time {
	text := os.Getenv(clockEnv)
	if text == "" {
		return time.Date(2026, 11, 25, 19, 30, 0, 0, time.UTC)
	}
	fields := strings.Fields(text)
	if len(fields) == 3 {
		if zone, err := time.LoadLocation(fields[2]); err == nil {
			if t, err := time.ParseInLocation(time.DateTime, fields[0]+" "+fields[1], zone); err == nil {
				return t
			}
		}
	}
	fmt.Fprintf(os.Stderr, "%s: %q: want a time and a zone, like \"2026-03-29 01:59:40 Europe/Berlin\"\n", clockEnv, text)
	os.Exit(exitUsage)
	panic("unreachable")
}()

// clock is the clock of the tests: no test reads that of the machine where its
// result shows. It stands still, so that what a drill takes is what it sounds.
func clock() time.Time { return standing }

// today is the day of the clock.
func today() string { return standing.Format(time.DateOnly) }

// readmeDay is the day of the examples in README.md and the handbook.
func readmeDay() time.Time { return time.Date(2026, 11, 25, 19, 30, 0, 0, time.UTC) }

// awkward are times at which days, years and hours change while a drill of a
// minute runs.
var awkward = []string{
	"2028-02-28 23:59:40 UTC",
	"2026-12-31 23:59:40 Pacific/Kiritimati",
	"2026-03-29 01:59:40 Europe/Berlin", // an hour is left out
	"2026-10-25 02:59:40 Europe/Berlin", // an hour comes twice
}

// daily are the tests that show a day.
const daily = `^(TestScripts|TestProgress|TestProfile.*|TestTodayRecordsWhatItSays|TestCalibrateKeeps)$/^(dictation|record)?$`

// What the scripts, the profiles, today and progress expect holds on every day
// and in every zone: the same tests run again with another clock.
func TestOnOtherDays(t *testing.T) {
	if os.Getenv(clockEnv) != "" {
		t.Skip("the clock is set already")
	}
	if raceDetector {
		t.Skip("each day runs many processes; they run without the race detector")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range awkward {
		t.Run(at, func(t *testing.T) {
			t.Parallel()
			cmd := exec.CommandContext(t.Context(), self, "-test.run", daily)
			cmd.Env = append(os.Environ(), clockEnv+"="+at)
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("%v\n%s", err, out)
			}
		})
	}
}
