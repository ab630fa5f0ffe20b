package layers

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// The checker on made-up sources: each rule is broken once, and once not.
func TestCheck(t *testing.T) {
	rows, err := readArrows(arrows)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		rule, file, body string
		want             string // a part of the one complaint; "" for none
	}{
		{"the standard library is free", "internal/synth/a.go", `import "net/http"`, ""},
		{"an arrow of the table", "exercise/a.go", `import "singback/theory"`, ""},
		{"no arrow upwards", "theory/a.go", `import "singback/exercise"`, "theory/a.go: imports singback/exercise; theory may import only []"},
		{"no arrow sideways", "internal/audio/a.go", `import "singback/internal/device"`, "imports singback/internal/device"},
		{"no import of itself", "theory/a.go", `import "singback/theory"`, "imports singback/theory"},
		{"a test may be outside its package", "theory/a_test.go", `import "singback/theory"`, ""},
		{"cli imports every folder", "internal/cli/a.go", `import ("singback/internal/tui"; "singback/pitch")`, ""},
		{"but not the test kit", "internal/cli/a.go", `import "singback/internal/testkit"`, "imports singback/internal/testkit"},
		{"nobody imports cmd", "internal/cli/a.go", `import "singback/cmd/singback"`, "imports singback/cmd/singback"},
		{"tests import the test kit", "pitch/a_test.go", `import "singback/internal/testkit"`, ""},
		{"and what is below it", "pitch/a_test.go", `import "singback/internal/testkit/makewav/truth"`, ""},
		{"the test kit imports what it needs", "internal/testkit/makewav/a.go", `import ("singback/internal/synth"; "singback/internal/testkit/makewav/truth")`, ""},
		{"test modules in tests", "theory/a_test.go", `import ("pgregory.net/rapid"; "github.com/rogpeppe/go-internal/testscript")`, ""},
		{"test modules not in code", "theory/a.go", `import "pgregory.net/rapid"`, "imports pgregory.net/rapid"},
		{"go-dsp in the tests of pitch", "pitch/a_test.go", `import "github.com/mjibson/go-dsp/fft"`, ""},
		{"go-dsp not in its code", "pitch/a.go", `import "github.com/mjibson/go-dsp/fft"`, "imports github.com/mjibson/go-dsp/fft"},
		{"go-dsp not in the tests of others", "theory/a_test.go", `import "github.com/mjibson/go-dsp/fft"`, "imports github.com/mjibson/go-dsp/fft"},
		{"a module's packages", "pitch/a.go", `import "gonum.org/v1/gonum/dsp/fourier"`, ""},
		{"portaudio only in device", "internal/cli/a.go", `import "github.com/gordonklaus/portaudio"`, "imports github.com/gordonklaus/portaudio"},
		{"cobra only in cli", "internal/tui/a.go", `import "github.com/spf13/cobra"`, "imports github.com/spf13/cobra"},
		{"a module that merely begins alike", "internal/cli/a.go", `import "github.com/spf13/cobrax"`, "no row and no module"},
		{"a module nobody has", "internal/cli/a.go", `import "example.org/x"`, "no row and no module"},
		{"a folder without a row", "internal/util/a.go", ``, "folder internal/util has no row"},
		{"an import of a folder without a row", "internal/cli/a.go", `import "singback/internal/util"`, "no row and no module"},
		{"the root is no package", "a.go", ``, "folder . has no row"},
		{"cgo only in device", "internal/audio/a.go", `import "C"`, "only internal/device uses cgo"},
		{"cgo in device", "internal/device/a.go", `import "C"`, ""},
		{"pure code does no I/O", "theory/a.go", `import "os"`, "imports os; theory does no I/O"},
		{"its tests may", "theory/a_test.go", `import "os"`, ""},
		{"nor the net", "exercise/a.go", `import "net/http"`, "imports net/http"},
		{"nor global randomness", "exercise/a.go", `import "math/rand"`, "imports math/rand;"},
		{"nor by the other door", "exercise/a.go", "import \"math/rand/v2\"\nvar x = rand.IntN(3)", "uses rand.IntN"},
		{"a seeded source is fine", "exercise/a.go", "import \"math/rand/v2\"\nvar x *rand.Rand = rand.New(rand.NewPCG(1, 2))\nvar y = x.IntN(3)", ""},
		{"durations are fine", "pitch/a.go", "import \"time\"\nvar x time.Duration = time.Second", ""},
		{"the clock is not", "pitch/a.go", "import \"time\"\nvar x = time.Now()", "uses time.Now"},
		{"under any name", "pitch/a.go", "import clock \"time\"\nvar x = clock.Since", "uses time.Since"},
		{"nor with a dot", "pitch/a.go", "import . \"time\"\nvar x = Now()", "with a dot"},
		{"others have clocks", "internal/session/a.go", "import \"time\"\nvar x = time.Now()", ""},
		{"a field called Now is no clock", "pitch/a.go", "type c struct{ Now int }\nvar time c\nvar x = time.Now", ""},
		{"a test reads no clock", "internal/report/a_test.go", "import \"time\"\nvar x = time.Now()", "uses time.Now; what a test shows"},
		{"nor the zone of the machine", "theory/a_test.go", "import \"time\"\nvar x = time.Local", "uses time.Local"},
		{"device tests have a clock of their own", "internal/device/a_test.go", "import \"time\"\nvar x = time.Now()", ""},
		{"real sound takes real time", "internal/cli/virtualmic_test.go", "import \"time\"\nvar x = time.Now()", ""},
		{"a test may wait", "internal/cli/a_test.go", "import \"time\"\nvar x = time.After(1)", ""},
		{"no Go", "theory/a.go", "import 7", "theory/a.go"},
	} {
		got := check(rows, c.file, []byte("package p\n"+c.body), map[use]bool{})
		switch {
		case c.want == "" && len(got) > 0:
			t.Errorf("%s: %s with %s: %q, want no complaint", c.rule, c.file, c.body, got)
		case c.want != "" && (len(got) != 1 || !strings.Contains(got[0], c.want)):
			t.Errorf("%s: %s with %s: %q, want one complaint with %q", c.rule, c.file, c.body, got, c.want)
		}
	}
}

func TestReadArrowsRefusesABadTable(t *testing.T) {
	for _, text := range []string{"theory\n", "theory: pitch\n", "theory: |\ntheory: |\n", "theory: nowhere |\n"} {
		if rows, err := readArrows(text); err == nil {
			t.Errorf("readArrows(%q) = %v, want an error", text, rows)
		}
	}
}

func TestCheckTree(t *testing.T) {
	const table = "theory: |\npitch: |\n"
	file := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }
	for _, c := range []struct {
		rule string
		tree fstest.MapFS
		want []string
	}{
		{"all well", fstest.MapFS{
			"theory/a.go": file("package theory"), "pitch/a.go": file("package pitch"), "README.md": file(""),
			"testdata/x.go": file("no Go"), ".git/x.go": file("no Go"), "bin/singback": file(""),
		}, nil},
		{"a row without code", fstest.MapFS{"theory/a.go": file("package theory"), "pitch/a.txt": file("")},
			[]string{"pitch: has a row in the table of arrows, but there is no Go code in it"}},
		{"code without a row", fstest.MapFS{"theory/a.go": file("package theory"), "pitch/a.go": file("package pitch"), "internal/web/a.go": file("package web")},
			[]string{"internal/web/a.go: folder internal/web has no row in the table of arrows"}},
		{"strangers at the top", fstest.MapFS{"theory/a.go": file("package theory"), "pitch/a.go": file("package pitch"), "scripts/x": file(""), "notes.txt": file("")},
			[]string{"notes.txt: unknown at the top level; topLevel lists what may lie there", "scripts: unknown at the top level; topLevel lists what may lie there"}},
		{"a forbidden arrow deep in the tree", fstest.MapFS{"theory/sub/a.go": file("package sub\nimport \"singback/pitch\""), "theory/a.go": file("package theory"), "pitch/a.go": file("package pitch")},
			[]string{"theory/sub/a.go: imports singback/pitch; theory may import only []"}},
	} {
		got, err := checkTree(c.tree, table)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, %v, want %q", c.rule, got, err, c.want)
		}
	}
}

// Every arrow of a table is needed by someone.
func TestIdle(t *testing.T) {
	for _, c := range []struct {
		rule, table string
		files       map[string]string
		want        []string
	}{
		{"needed by code and by tests", "theory: |\npitch: gonum | theory\n",
			map[string]string{"pitch/a.go": `import "gonum.org/v1/gonum/stat"`, "pitch/a_test.go": `import "singback/theory"`}, nil},
		{"needed below the folder", "theory: |\npitch: theory |\n", map[string]string{"pitch/sub/a.go": `import "singback/theory"`}, nil},
		{"not needed", "theory: |\npitch: theory |\n", map[string]string{"pitch/a.go": `import "fmt"`},
			[]string{"pitch: may import theory, and nothing in it does: take the arrow out of the table"}},
		{"needed by tests alone", "theory: |\npitch: theory |\n", map[string]string{"pitch/a_test.go": `import "singback/theory"`},
			[]string{"pitch: may import theory, and only its tests do, which belongs behind the bar: take the arrow out of the table"}},
		{"not needed by tests", "theory: |\npitch: | theory\n", map[string]string{"pitch/a.go": `import "fmt"`},
			[]string{"pitch: may import theory, in its tests, and none does: take the arrow out of the table"}},
		{"there twice", "theory: |\npitch: theory | theory\n",
			map[string]string{"pitch/a.go": `import "singback/theory"`, "pitch/a_test.go": `import "singback/theory"`},
			[]string{"pitch: may import theory, in its tests, which may do so anyway: take the arrow out of the table"}},
		{"every test may", "theory: | rapid\n", map[string]string{"theory/a_test.go": `import "pgregory.net/rapid"`},
			[]string{"theory: may import rapid, in its tests, which may do so anyway: take the arrow out of the table"}},
		{"all, and one by name", "theory: |\ninternal/cli: * theory |\n", map[string]string{"internal/cli/a.go": `import "singback/theory"`},
			[]string{"internal/cli: may import theory, which * says already: take the arrow out of the table"}},
	} {
		rows, err := readArrows(c.table)
		if err != nil {
			t.Fatal(err)
		}
		used := map[use]bool{}
		for file, body := range c.files {
			check(rows, file, []byte("package p\n"+body), used)
		}
		if got := idle(rows, used); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.rule, got, c.want)
		}
	}
}
