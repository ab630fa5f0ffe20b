package sheet

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestOnPaper prints sheets in Chromium and counts the pages: the usual sheet of a student
// is one page of either paper, and 40 students with 12 tasks are two on their side. It is
// run where SINGBACK_PAPER names a folder for the PDFs, with chromium and pdfinfo
// (Debian's poppler-utils).
func TestOnPaper(t *testing.T) {
	folder := os.Getenv("SINGBACK_PAPER")
	if folder == "" {
		t.Skip("SINGBACK_PAPER names no folder for what is printed")
	}
	long := student(t)
	p := demo(t, 8, false)
	p.Height = 100
	long.Newest.Pictures = p.Systems()
	for name, c := range map[string]struct {
		write func(Paper) func(io.Writer) error
		pages string
		wide  bool
	}{
		"student": {func(p Paper) func(io.Writer) error { s := student(t); s.Paper = p; return s.HTML }, "1", false},
		"long":    {func(p Paper) func(io.Writer) error { long.Paper = p; return long.HTML }, "3", false},
		"table":   {func(p Paper) func(io.Writer) error { s := table(40, 12); s.Paper = p; return s.HTML }, "2", true},
	} {
		for paper, size := range map[Paper][2]string{A4: {"595 x 842", "842 x 595"}, Letter: {"612 x 792", "792 x 612"}} {
			html := filepath.Join(folder, name+"-"+string(paper)+".html")
			pdf := strings.TrimSuffix(html, ".html") + ".pdf"
			if err := os.WriteFile(html, []byte(page(t, c.write(paper))), 0o666); err != nil {
				t.Fatal(err)
			}
			out, err := exec.Command("chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+html).CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			info, err := exec.Command("pdfinfo", pdf).Output()
			if err != nil {
				t.Fatal(err)
			}
			said := map[string]string{}
			for line := range strings.Lines(string(info)) {
				key, value, _ := strings.Cut(line, ":")
				said[key] = strings.TrimSpace(value)
			}
			want := size[0]
			if c.wide {
				want = size[1]
			}
			got := strings.NewReplacer("594.96", "595", "841.92", "842").Replace(said["Page size"])
			if said["Pages"] != c.pages || !strings.HasPrefix(got, want) {
				t.Errorf("%s on %s: %s pages of %s, want %s of %s", name, paper, said["Pages"], said["Page size"], c.pages, want)
			}
		}
	}
}
