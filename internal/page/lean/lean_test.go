package main

import (
	"bytes"
	"debug/gosym"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// panics is a program that panics when it is asked to, three functions down; else it
// names its own functions, and grows its stack while memory is collected, for which the
// tables that stay are needed.
const panics = `package main

import (
	"fmt"
	"os"
	"runtime"
)

type choir struct{ next *choir; name string }

//go:noinline
func deep(n int, c *choir) int {
	var room [64]int
	if n == 0 {
		runtime.GC()
		pc, file, line, ok := runtime.Caller(0)
		fmt.Println(runtime.FuncForPC(pc).Name(), file, line, ok)
		if len(os.Args) > 1 {
			panic("out of breath")
		}
		return len(c.name)
	}
	for i := range room {
		room[i] = n
	}
	return deep(n-1, &choir{c, fmt.Sprint(c.name, n%10)}) + room[n%64]%2
}

func recovered() (err any) {
	defer func() { err = recover() }()
	var none *choir
	return none.name
}

func main() {
	fmt.Println(recovered())
	fmt.Println(deep(500, &choir{}))
}
`

// build compiles a program for js/wasm.
func build(t *testing.T, args ...string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "program.wasm")
	cmd := exec.Command("go", append([]string{"build", "-buildvcs=false", "-trimpath", "-ldflags=-s -w", "-o", name}, args...)...)
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0")
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	return name
}

func buildPanics(t *testing.T) string {
	t.Helper()
	source := filepath.Join(t.TempDir(), "main.go")
	if err := os.WriteFile(source, []byte(panics), 0o666); err != nil {
		t.Fatal(err)
	}
	return build(t, source)
}

func contents(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// run runs a program under node.
func run(t *testing.T, name string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	testkit.Tool(t, "node")
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(filepath.Join(strings.TrimSpace(string(root)), "lib", "wasm", "go_js_wasm_exec"), append([]string{name}, args...)...)
	var out, said strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil && cmd.ProcessState == nil {
		t.Fatal(err)
	}
	return out.String(), said.String(), cmd.ProcessState.ExitCode()
}

// A lean program does what it did, and panics as it did, without files and lines.
func TestProgramsAreTheSame(t *testing.T) {
	testkit.Tool(t, "node")
	name := buildPanics(t)
	was, _, code := run(t, name)
	_, wasStack, _ := run(t, name, "panic")
	if code != 0 || !regexp.MustCompile(`(?m)^main\.deep \S*main\.go \d+ true$`).MatchString(was) {
		t.Fatalf("%d, %s", code, was)
	}
	if err := leanFile(name); err != nil {
		t.Fatal(err)
	}
	now, said, code := run(t, name)
	if want := regexp.MustCompile(`(?m)^main\.deep .*$`).ReplaceAllString(was, "main.deep ? 0 true"); now != want || code != 0 {
		t.Errorf("%d, %s%s\nwant %s", code, now, said, want)
	}
	_, stack, code := run(t, name, "panic")
	if code != 2 || !strings.Contains(stack, "panic: out of breath") || strings.Contains(stack, ".go:") || !strings.Contains(wasStack, "main.go:") {
		t.Errorf("%d\n%s\nwas\n%s", code, stack, wasStack)
	}
	functions := regexp.MustCompile(`(?m)^[\w./]+\(`)
	if got, want := functions.FindAllString(stack, -1), functions.FindAllString(wasStack, -1); !slices.Equal(got, want) || !slices.Contains(got, "main.main(") {
		t.Errorf("the stack is of %q, was of %q", got, want)
	}
}

// The drill prints the same bytes, and comes back from its tight form in the browser's way.
func TestDrillIsTheSame(t *testing.T) {
	testkit.Tool(t, "node")
	name := build(t, "singback/internal/testkit/wasmdrill")
	was, _, code := run(t, name)
	if code != 0 || len(was) < 1000 {
		t.Fatalf("%d: %s", code, was)
	}
	if err := leanFile(name); err != nil {
		t.Fatal(err)
	}
	if now, said, code := run(t, name); now != was || code != 0 {
		t.Errorf("%d, %s\n%.2000s\nwant\n%.2000s", code, said, now, was)
	}
	if err := tightFile(name, name+".tight"); err != nil {
		t.Fatal(err)
	}
	module, tight := contents(t, name), contents(t, name+".tight")
	if said := inNode(t, module, tight); said[0] != "same" {
		t.Errorf("its tight form is that of %s", said)
	}
	if 100*len(tight) > 80*len(module) {
		t.Errorf("%d bytes tight, %d as it was", len(tight), len(module))
	}
}

// tableOf reads the table of functions with the standard library's debugger's eyes.
func tableOf(t *testing.T, module []byte) *gosym.Table {
	t.Helper()
	d, err := dataOf(module)
	if err != nil {
		t.Fatal(err)
	}
	memory, err := d.memory(module)
	if err != nil {
		t.Fatal(err)
	}
	table, err := gosym.NewTable(nil, gosym.NewLineTable(memory[bytes.Index(memory, header):], 0))
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// What another reader (debug/gosym) finds: the same functions at the same addresses; no
// lines where there were some.
func TestFunctionsByGosym(t *testing.T) {
	module := contents(t, buildPanics(t))
	thinner, err := lean(module)
	if err != nil {
		t.Fatal(err)
	}
	was, now := tableOf(t, module), tableOf(t, thinner)
	if len(was.Funcs) < 500 || len(now.Funcs) != len(was.Funcs) {
		t.Fatalf("%d functions, were %d", len(now.Funcs), len(was.Funcs))
	}
	lines := 0
	for i := range was.Funcs {
		a, b := &was.Funcs[i], &now.Funcs[i]
		if a.Name != b.Name || a.Entry != b.Entry || a.End != b.End {
			t.Fatalf("%s at %d to %d, was %s at %d to %d", b.Name, b.Entry, b.End, a.Name, a.Entry, a.End)
		}
		if _, line, _ := was.PCToLine(a.Entry); line > 0 {
			lines++
		}
		if _, line, _ := now.PCToLine(b.Entry); line > 0 {
			t.Fatalf("%s still has line %d", b.Name, line)
		}
	}
	if lines < 500 {
		t.Errorf("only %d functions had lines", lines)
	}
	if 10*len(thinner) > 11*len(module) {
		t.Errorf("%d bytes, were %d", len(thinner), len(module))
	}
	if again, err := lean(thinner); err != nil || !bytes.Equal(again, thinner) {
		t.Errorf("a lean program does not stay as it is: %v", err)
	}
}

// A file that is not as Go writes it stays as it is, and one line says what is wrong.
func TestRefused(t *testing.T) {
	module := contents(t, buildPanics(t))
	d, err := dataOf(module)
	if err != nil {
		t.Fatal(err)
	}
	head := bytes.Index(module, header)
	changed := func(at int, b ...byte) []byte {
		m := slices.Clone(module)
		copy(m[at:], b)
		return m
	}
	for name, c := range map[string]struct {
		module []byte
		want   string
	}{
		"empty":                   {nil, "no WebAssembly module"},
		"a text":                  {[]byte("la la la"), "no WebAssembly module"},
		"another version":         {changed(4, 2), "no WebAssembly module"},
		"only a head":             {module[:8], "0 memories and 0 segments"},
		"no data":                 {append(slices.Clone(module[:d.from]), module[d.to:]...), "1 memories and 0 segments"},
		"cut in the code":         {module[:d.from/2], "cut short"},
		"cut in the data":         {module[:d.from+(d.to-d.from)/2], "cut short"},
		"cut at the end":          {module[:len(module)-1], "cut short"},
		"data twice":              {append(slices.Clone(module), module[d.from:d.to]...), "two sections of data"},
		"another magic number":    {changed(head, 0xf0), "no table of functions of Go 1.26"},
		"pointers of four bytes":  {changed(head+7, 4), "no table of functions of Go 1.26"},
		"more functions":          {changed(head+8, module[head+8]+1), "the table of functions is not as Go 1.26 writes it"},
		"a passive segment":       {changed(d.segments[0].from-8, 1, 1, 1, 1, 1), "not as Go writes them"},
		"a module of other tools": {tiny(func([]byte) {}, 1), "no table of functions of Go 1.26"},
	} {
		file := filepath.Join(t.TempDir(), "x.wasm")
		if err := os.WriteFile(file, c.module, 0o666); err != nil {
			t.Fatal(err)
		}
		err := leanFile(file)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
		if got := contents(t, file); !bytes.Equal(got, c.module) {
			t.Errorf("%s: the file is another", name)
		}
	}
	if err := leanFile(filepath.Join(t.TempDir(), "none.wasm")); err == nil {
		t.Error("a file that is not there is made lean")
	}
}
