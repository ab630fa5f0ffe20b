package cli

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/handin"
	"singback/internal/newfile"
	"singback/internal/plain"
	"singback/internal/review"
	"singback/internal/tui"
)

// collecting is what the flags of class collect say.
type collecting struct {
	c             *classFlags
	rec           recording
	way           wayOptions
	into          string
	student, task string
	whose         string
	list          gradeList
	copy, mark    bool
	again         bool
	out           string
	force, resume bool
	format        *format
}

func newClassCollect(e *env, c *classFlags) *cobra.Command {
	o := collecting{c: c, format: newFormat("text", "csv", "json")}
	cmd := &cobra.Command{
		Use:   "collect FOLDER ...",
		Short: "Take in what students sent: recordings, pitch curves, records of practice",
		Long: `Collect looks through folders with all that is in them, zips and single files, and
takes what students sent into the class. Recordings may be of any kind (singback help
recordings); they are listened to once, and stay where they are, unless --copy: then
the class keeps copies. What cannot be read is a take in trouble, named in one line;
what is nothing of the kind is passed over.

Whose a file is, its name says: the student's name in it as a word, or in the name of
its folder or zip; the task likewise, unless there is only one. What no name tells is
asked for on a terminal, and left out otherwise; --student and --task say it for all,
--whose for each: CSV with the columns path, student, task.

A folder may be one on a server, into which students hand in (WebDAV; its https
address): what is new there is fetched into a folder of this computer first (--into),
and what is half sent is named. The password is asked for, or in SINGBACK_PASSWORD or
--password-file; see singback help handin.

What was collected before is not read again, so an interrupted run is gone on with by
the same command. --mark marks at once. Thousands of takes can be measured in shares,
under whatever runs them: --share 2/4 --out FILE measures the second of four and
writes it into the file (--resume goes on with it); the files one after the other are
those of one run, and singback class join takes them in.`,
		Example: `  singback class collect takes
  singback class collect week3.zip --task "week 3" --mark
  singback class collect takes --mark --share 2/4 --out share2.jsonl --resume`,
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd.Context(), e, args) },
	}
	fl := cmd.Flags()
	fl.StringVar(&o.student, "student", "", "of this student: the `NAME`, or its beginning")
	fl.StringVar(&o.task, "task", "", "of this task: the `NAME`, or its beginning")
	fl.StringVar(&o.whose, "whose", "", "whose each recording is, in this `FILE`: CSV with the columns path, student, task")
	fl.StringVar(&o.into, "into", "", "what a server has is fetched into this `FOLDER` (else one beside the class)")
	o.way.addFlags(cmd)
	o.list.addFlags(cmd)
	fl.BoolVar(&o.copy, "copy", false, "the class keeps copies of the recordings")
	fl.BoolVar(&o.mark, "mark", false, "mark what is measured at once")
	fl.BoolVar(&o.again, "again", false, "read again what is in the class already")
	addOut(cmd, &o.out, &o.force, "FILE", ", each row as soon as it is known")
	fl.BoolVar(&o.resume, "resume", false, "go on with --out FILE: takes that it has are not read again")
	o.rec.addFlags(cmd)
	addFormat(cmd, o.format)
	return cmd
}

func (o *collecting) run(ctx context.Context, e *env, paths []string) error {
	switch {
	case len(paths) == 0 && o.list.file == "":
		return usagef("say what there is: FOLDER ..., or --list FILE")
	case o.resume && o.out == "":
		return usagef("--resume goes on with a file: say which with --out FILE")
	case o.list.share != "" && o.out == "":
		return usagef("--share: a share goes into a file of its own: say which with --out FILE")
	case o.out != "" && (o.copy || o.again):
		return usagef("--copy and --again are about the class, and with --out nothing is put into it")
	}
	if err := o.list.check("jsonl"); err != nil {
		return err
	}
	options, err := o.rec.options()
	if err != nil {
		return err
	}
	if paths, err = o.list.read(e, paths); err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	half := 0
	if paths, half, err = o.fetch(ctx, e, paths); err != nil {
		return err
	}
	return o.c.with(o.out == "", func(f *classfile.File) error {
		handed, left, passed, err := o.sort(e, f, paths)
		if err != nil {
			return err
		}
		collector := desk.Collector{File: f, Reader: review.Reader{Options: options}, Now: e.clock(), Keep: o.copy, Mark: o.mark || o.out != "", Again: o.again}
		if o.out != "" {
			return o.write(ctx, e, &collector, sharedOf(&o.list, handed), left)
		}
		err = o.collect(ctx, e, &collector, handed, left, passed)
		if err == nil && half > 0 {
			err = fmt.Errorf("%s of the server could not be fetched", many(half, "file"))
		}
		return err
	})
}

// fetch puts folders of this computer in the place of those on servers, with what they
// hold; half is how many files could not be fetched.
func (o *collecting) fetch(ctx context.Context, e *env, paths []string) (local []string, half int, err error) {
	for _, path := range paths {
		scheme, _, _ := strings.Cut(strings.ToLower(path), "://")
		if scheme != "http" && scheme != "https" {
			local = append(local, path)
			continue
		}
		to, err := handin.ParseAddress(path, o.way.withoutTLS)
		if err != nil {
			return nil, 0, o.way.refused("FOLDER", path, err)
		}
		into := o.into
		if into == "" {
			file, err := o.c.path()
			if err != nil {
				return nil, 0, err
			}
			into = strings.TrimSuffix(file, classfile.Extension) + " takes"
		}
		folder, err := o.way.enter(ctx, e, to)
		if err != nil {
			return nil, 0, err
		}
		list, err := folder.Fetch(ctx, into, e.progress())
		fresh := 0
		for _, f := range list {
			switch {
			case f.Note != "":
				fmt.Fprintf(e.stderr, "%s: %s\n", f.Path, f.Note)
				half++
			case f.New:
				fresh++
			}
		}
		if err != nil {
			return nil, 0, err
		}
		fmt.Fprintf(e.stderr, "%s fetched into %s, %d were there.\n", many(fresh, "file"), into, len(list)-fresh-half)
		local = append(local, into)
	}
	return local, half, nil
}

// sort finds what there is and whose it is; what is left is nobody's.
func (o *collecting) sort(e *env, f *classfile.File, paths []string) (handed []desk.Handed, left []desk.Unplaced, passed []desk.Passed, err error) {
	students, err := f.Students()
	if err != nil {
		return nil, nil, nil, err
	}
	tasks, err := f.Tasks()
	if err != nil {
		return nil, nil, nil, err
	}
	if len(students) == 0 {
		return nil, nil, nil, fmt.Errorf("%s has no students yet: singback class add student NAME", f.Path())
	}
	who := desk.NewWho(students, tasks)
	if o.student != "" {
		s, err := f.Student(o.student)
		if err != nil {
			return nil, nil, nil, err
		}
		who.Student = &s
	}
	if o.task != "" {
		t, err := f.Task(o.task)
		if err == nil && t.Kind != class.Melody {
			err = fmt.Errorf("%s is an exercise: recordings are no answer to it, a record of practice is", t.Name)
		}
		if err != nil {
			return nil, nil, nil, err
		}
		who.Task = &t
	}
	if o.whose != "" {
		if who.Assigned, err = readWhose(e, o.whose); err != nil {
			return nil, nil, nil, err
		}
	}
	found, passed, err := desk.Find(paths)
	if err != nil {
		return nil, nil, nil, err
	}
	for _, p := range passed {
		fmt.Fprintf(e.stderr, "%s: passed over: %s\n", p.Path, p.Why)
	}
	if len(found) == 0 {
		return nil, nil, nil, fmt.Errorf("%s: nothing is in it that could be collected", strings.Join(paths[:min(3, len(paths))], ", "))
	}
	handed, left = who.Sort(found)
	if len(left) > 0 && o.out == "" && e.terminal(e.stdin) && e.terminal(e.stderr) {
		var more []desk.Handed
		if more, left, err = o.ask(e, who, left); err != nil {
			return nil, nil, nil, err
		}
		handed = append(handed, more...)
	}
	for _, u := range left {
		fmt.Fprintf(e.stderr, "%s: left out: %s\n", u.Path, u.Why)
	}
	return handed, left, passed, nil
}

// readWhose reads whose each recording is.
func readWhose(e *env, path string) (map[string][2]string, error) {
	b, err := e.readUpTo(path, 256<<20, "CSV with the columns path, student, task")
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(b), "\ufeff"))).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(rows) == 0 || !slices.Equal(rows[0], []string{"path", "student", "task"}) {
		return nil, fmt.Errorf("%s: line 1: want path,student,task", path)
	}
	out := map[string][2]string{}
	for _, r := range rows[1:] {
		out[r[0]] = [2]string{r[1], r[2]}
	}
	return out, nil
}

// ask asks whose files are, until the teacher has had enough.
func (o *collecting) ask(e *env, who *desk.Who, left []desk.Unplaced) (handed []desk.Handed, still []desk.Unplaced, err error) {
	in := bufio.NewReader(e.stdin)
	question := func(text string) (string, error) {
		fmt.Fprint(e.stderr, text)
		line, err := in.ReadString('\n')
		if errors.Is(err, io.EOF) && line != "" {
			err = nil
		}
		return strings.TrimSpace(line), err
	}
	fmt.Fprintf(e.stderr, "Of %s the name does not say whose it is. Type a name or its beginning; Enter leaves one out, a full stop all that follow.\n", many(len(left), "file"))
	for i, u := range left {
		h := desk.Handed{Found: u.Found}
		if u.Task != nil {
			h.Task = *u.Task
		}
		if u.Student != nil {
			h.Student = *u.Student
		}
		for u.Student == nil {
			name, err := question(fmt.Sprintf("%s: who? ", u.Path))
			if err != nil || name == "." {
				return handed, append(still, left[i:]...), ignoreEOF(err)
			}
			if name == "" {
				break
			}
			if k, err := byBeginning(name, who.Students, func(s class.Student) string { return s.Name }); err != nil {
				fmt.Fprintln(e.stderr, err)
			} else {
				h.Student, u.Student = who.Students[k], &who.Students[k]
			}
		}
		for u.Student != nil && u.Task == nil && u.Content != desk.Practice {
			name, err := question(fmt.Sprintf("%s: for which task? ", u.Path))
			if err != nil || name == "." {
				return handed, append(still, left[i:]...), ignoreEOF(err)
			}
			if name == "" {
				break
			}
			if k, err := byBeginning(name, who.Tasks, func(t class.Task) string { return t.Name }); err != nil {
				fmt.Fprintln(e.stderr, err)
			} else {
				h.Task, u.Task = who.Tasks[k], &who.Tasks[k]
			}
		}
		if u.Student == nil || u.Task == nil && u.Content != desk.Practice {
			still = append(still, u)
			continue
		}
		handed = append(handed, h)
	}
	return handed, still, nil
}

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// byBeginning finds a name by its beginning.
func byBeginning[T any](name string, among []T, called func(T) string) (int, error) {
	var found []int
	for i, v := range among {
		if strings.EqualFold(called(v), name) {
			return i, nil
		}
		if c := called(v); len(c) >= len(name) && strings.EqualFold(c[:len(name)], name) {
			found = append(found, i)
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	var names []string
	for i, v := range among {
		if len(found) == 0 || slices.Contains(found, i) {
			names = append(names, called(v))
		}
	}
	return 0, fmt.Errorf("%q: want one of %s", name, listed(names))
}

// collectRecord is what became of a file, in CSV and JSON.
type collectRecord struct {
	Path    string   `json:"path"`
	Student string   `json:"student"`
	Task    string   `json:"task"`
	Result  string   `json:"result"` // new, anew, there, trouble, practice
	Seconds float64  `json:"seconds"`
	Value   *float64 `json:"value"`
	Pass    *bool    `json:"pass"`
	Answers int      `json:"answers"`
	Trouble string   `json:"trouble"`
}

func newCollectRecord(r desk.Collected) collectRecord {
	out := collectRecord{Path: r.Path, Student: r.Handed.Student.Name, Task: r.Handed.Task.Name, Result: "new", Seconds: float64(int(r.Seconds*1000+0.5)) / 1000, Answers: r.Answers, Trouble: r.Trouble}
	switch {
	case r.Trouble != "":
		out.Result = "trouble"
	case r.There:
		out.Result = "there"
	case r.Content == desk.Practice:
		out.Result = "practice"
	case r.Anew:
		out.Result = "anew"
	}
	if r.Mark != nil && r.Trouble == "" {
		value := float64(int(r.Mark.Value*10000+0.5)) / 10000
		out.Value, out.Pass = &value, &r.Mark.Pass
	}
	return out
}

// collect takes what was handed in into the class.
func (o *collecting) collect(ctx context.Context, e *env, c *desk.Collector, handed []desk.Handed, left []desk.Unplaced, passed []desk.Passed) error {
	bar := tui.NewBar(nil, len(handed))
	if len(handed) > 1 && e.terminal(e.stderr) {
		bar = tui.NewBar(plain.Around(e.stderr), len(handed))
	}
	var records []collectRecord
	rows := csv.NewWriter(e.data())
	if o.format.value == "csv" {
		rows.Write([]string{"path", "student", "task", "result", "seconds", "value", "pass", "answers", "trouble"})
	}
	counts := map[string]int{}
	answers := 0
	err := c.Collect(ctx, handed, func(r desk.Collected) error {
		bar.Step()
		rec := newCollectRecord(r)
		counts[rec.Result]++
		answers += r.Answers
		if r.Trouble != "" || r.Warning != "" {
			bar.Clear()
		}
		if r.Trouble != "" {
			fmt.Fprintf(e.stderr, "%s: %s\n", r.Path, r.Trouble)
		}
		if r.Warning != "" {
			fmt.Fprintf(e.stderr, "%s: %s\n", r.Path, r.Warning)
		}
		switch o.format.value {
		case "csv":
			rows.Write([]string{rec.Path, rec.Student, rec.Task, rec.Result, strconv.FormatFloat(rec.Seconds, 'f', -1, 64), orEmpty(rec.Value), yesNo(rec.Pass), strconv.Itoa(rec.Answers), rec.Trouble})
		case "json":
			records = append(records, rec)
		}
		return nil
	})
	bar.Clear()
	rows.Flush()
	err = errors.Join(err, rows.Error())
	if o.format.value == "json" && records == nil {
		records = []collectRecord{}
	}
	if o.format.value == "json" {
		err = errors.Join(err, e.printJSON(records))
	}
	if o.format.value == "text" {
		text := many(counts["new"], "new take")
		for _, p := range []struct {
			n    int
			what string
		}{{counts["anew"], "measured anew"}, {counts["there"], "there already"}, {counts["practice"], practiceWord(counts["practice"]) + " of practice with " + many(answers, "new answer")},
			{counts["trouble"], "in trouble"}, {len(left), "left out"}, {len(passed), "passed over"}} {
			if p.n > 0 {
				text += fmt.Sprintf(", %d %s", p.n, p.what)
			}
		}
		err = errors.Join(err, e.print(text+"\n"))
	}
	switch {
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(e.stderr, "What was read is in the class; the same command goes on.")
		return context.Canceled
	case err != nil:
		return err
	case counts["trouble"]+len(left) > 0:
		return fmt.Errorf("%d of %s could not be collected", counts["trouble"]+len(left), many(len(handed)+len(left), "file"))
	}
	return nil
}

func orEmpty(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

func yesNo(v *bool) string {
	if v == nil {
		return ""
	}
	return strconv.FormatBool(*v)
}

func practiceWord(n int) string {
	if n == 1 {
		return "record"
	}
	return "records"
}

// write measures a share into a file.
func (o *collecting) write(ctx context.Context, e *env, c *desk.Collector, handed []desk.Handed, left []desk.Unplaced) error {
	var f *os.File
	done := 0
	if o.resume {
		var err error
		if f, err = os.OpenFile(o.out, os.O_RDWR|os.O_CREATE, 0o600); err != nil {
			return fmt.Errorf("--out: %w", newfile.PathError(o.out, err))
		}
		n, end, err := desk.Written(f, handed)
		if err == nil {
			err = f.Truncate(end)
		}
		if err == nil {
			_, err = f.Seek(end, io.SeekStart)
		}
		if err != nil {
			f.Close()
			return fmt.Errorf("--out: %s: %w", o.out, err)
		}
		done = n
	} else {
		var err error
		if f, err = newfile.Open(o.out, o.force); err != nil {
			if errors.Is(err, newfile.ErrThere) {
				return fmt.Errorf("--out: %s: it is there already: --resume goes on with it, --force begins it anew, or name another file", o.out)
			}
			return fmt.Errorf("--out: %w", err)
		}
	}
	trouble := 0
	err := c.Write(ctx, handed[done:], f, func(r desk.Collected) error {
		done++
		if r.Trouble != "" {
			trouble++
			fmt.Fprintf(e.stderr, "%s: %s\n", r.Path, r.Trouble)
		}
		return nil
	})
	err = errors.Join(err, f.Close())
	fmt.Fprintf(e.stderr, "%s: %d of %s\n", o.out, done, many(len(handed), "take"))
	switch {
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(e.stderr, "The same command with --resume goes on.")
		return context.Canceled
	case err != nil:
		return err
	case trouble+len(left) > 0:
		return fmt.Errorf("%d of %s could not be collected", trouble+len(left), many(len(handed)+len(left), "file"))
	}
	return nil
}

func newClassJoin(e *env, c *classFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "join FILE ...",
		Short: "Take shares of a list that were measured apart into the class",
		Long: `Join takes in the files that singback class collect --share --out wrote, in the order
given. What is in the class already is not added again.`,
		Example: `  singback class join share1.jsonl share2.jsonl share3.jsonl share4.jsonl`,
		Args:    manyArgs("a FILE"),
		RunE: func(_ *cobra.Command, args []string) error {
			return c.with(true, func(f *classfile.File) error {
				for _, path := range args {
					in, name, err := e.open(path)
					if err != nil {
						return err
					}
					n, err := desk.Join(f, in, e.clock())
					in.Close()
					if n.Half {
						fmt.Fprintf(e.stderr, "%s: its last line is half written: go on with it by --resume\n", name)
					}
					if err != nil {
						return fmt.Errorf("%s: %w", name, err)
					}
					text := fmt.Sprintf("%s: %s, %d new", name, many(n.Takes, "take"), n.New)
					if n.Trouble > 0 {
						text += fmt.Sprintf(", %d in trouble", n.Trouble)
					}
					if err := e.print(text + "\n"); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
}
