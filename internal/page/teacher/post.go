package teacher

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"singback/internal/class"
)

// post is a verdict, what takes one back, or a remark, as the browser sends it. ID is
// made there: the same one a second time does nothing, and has the same answer. It is
// remembered as long as the program runs, as is the address that the browser has.
type post struct {
	ID string `json:"id"`

	Take   int64    `json:"take"`
	Mark   int64    `json:"mark"`
	Chosen string   `json:"chosen"`
	Pass   *bool    `json:"pass"`
	Value  *float64 `json:"value"`
	Why    string   `json:"why"`

	Review int64 `json:"review"`

	Student int64  `json:"student"`
	Task    int64  `json:"task"`
	Words   string `json:"words"`
}

// reviewReply is what a post is answered with.
type reviewReply struct {
	Done      int64           `json:"done"` // the number of what was kept
	Turn      int             `json:"turn"`
	Flags     flags           `json:"flags"`
	Counts    counts          `json:"counts"`
	Agreement agreementRecord `json:"agreement"`
}

// maxDone is how many posts are remembered.
const maxDone = 10_000

// keep does once what a post asks for.
func (d *Desk) keep(w http.ResponseWriter, r *http.Request, check func(*post) error, do func(Book, post) (id, take int64, err error)) error {
	var p post
	if err := read(w, r, &p); err != nil {
		return err
	}
	if n := len(p.ID); n < 8 || n > 64 {
		return wrong("id: want 8 to 64 letters that no other has")
	}
	if err := check(&p); err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if before, ok := d.done[p.ID]; ok {
		return reply(w, before)
	}
	// What came in whole is kept, even if whoever sent it does not wait.
	ctx := context.WithoutCancel(r.Context())
	before, err := d.look(ctx)
	if err != nil {
		return told(err)
	}
	var answer reviewReply
	var after *glance
	err = d.source.Write(ctx, func(b Book) error {
		// What was seen is brought up to date, unless another program changed the class since.
		stamp, err := d.source.Stamp()
		if err != nil {
			return err
		}
		id, take, err := do(b, p)
		if err != nil {
			return err
		}
		answer.Done = id
		if stamp == before.stamp {
			after = before
			if take != 0 {
				answer.Flags, err = before.again(b, take)
			}
		}
		return err
	})
	if err != nil {
		if answer.Done != 0 {
			d.seen = nil // half of it was done
		}
		return told(err)
	}
	if after != nil {
		// One change more is ours; anything else has the class read anew.
		now, err := d.source.Stamp()
		if err != nil {
			d.seen = nil
			return told(err)
		}
		if before.stamp.Changes++; before.stamp != now {
			d.seen = nil
		}
	}
	if after, err = d.look(ctx); err != nil {
		return told(err)
	}
	answer.Turn, answer.Counts, answer.Agreement = d.turns, after.count(-1), agreement(after.agree)
	d.done[p.ID] = answer
	if d.order = append(d.order, p.ID); len(d.order) > maxDone {
		delete(d.done, d.order[0])
		d.order = d.order[1:]
	}
	return reply(w, answer)
}

// again puts what became of a take into the class that was read before.
func (g *glance) again(b Book, take int64) (flags, error) {
	row, err := b.Take(take)
	if err != nil {
		return 0, err
	}
	s, ok := g.student[row.Student]
	t, is := g.task[row.Task]
	if !ok || !is {
		return 0, fmt.Errorf("take %d: %w", take, ErrNone)
	}
	all, err := b.TakesOf(row.Student, row.Task)
	if err != nil {
		return 0, err
	}
	*g.at(s, t) = cell{}
	for _, one := range all {
		if one.Counts {
			g.put(one)
		}
	}
	g.queue = nil
	if g.agree, err = b.Agreements(); err != nil {
		return 0, err
	}
	return summary(row, g.tasks[t]).flags, nil
}

func (d *Desk) review(w http.ResponseWriter, r *http.Request) error {
	var chosen class.Chosen
	return d.keep(w, r, func(p *post) error {
		p.Why = strings.TrimSpace(p.Why)
		switch p.Chosen {
		case "", class.Asked.String():
		case class.Doubt.String():
			chosen = class.Doubt
		case class.Sample.String():
			chosen = class.Sample
		default:
			return wrong("chosen: %.20q: want asked, doubt or sample", p.Chosen)
		}
		switch {
		case p.Review != 0 || p.Student != 0 || p.Task != 0 || p.Words != "":
			return wrong("a verdict has a take, a mark, chosen, pass, value and why")
		case p.Take <= 0:
			return wrong("take: want the number of a take")
		case p.Pass == nil:
			return wrong("pass: want true or false")
		case p.Value != nil && !(*p.Value >= 0 && *p.Value <= 1):
			return wrong("value: %g: want 0 to 1", *p.Value)
		}
		return checkWords("why", p.Why)
	}, func(b Book, p post) (int64, int64, error) {
		row, err := b.Take(p.Take)
		switch {
		case err != nil:
			return 0, 0, err
		case row.Mark == nil:
			return 0, 0, refused{http.StatusConflict, "unmarked", "it is not marked yet: singback class mark", ""}
		case row.Mark.ID != p.Mark:
			return 0, 0, refused{http.StatusConflict, "changed", "the take has been marked anew meanwhile: look at it again", ""}
		case row.Mark.Pass != *p.Pass && p.Why == "":
			return 0, 0, refused{http.StatusBadRequest, "why", "the machine said otherwise: say why in a few words", ""}
		}
		review := class.Review{Take: p.Take, Mark: p.Mark, At: d.now().UTC().Format(time.RFC3339), Chosen: chosen, Pass: *p.Pass, Value: -1, Why: p.Why}
		if p.Value != nil {
			review.Value = *p.Value
		}
		id, err := b.AddReview(review, p.ID)
		return id, p.Take, err
	})
}

func (d *Desk) undo(w http.ResponseWriter, r *http.Request) error {
	return d.keep(w, r, func(p *post) error {
		if p.Review <= 0 || p.Take <= 0 {
			return wrong("want the take, and the number of the review that is taken back")
		}
		return nil
	}, func(b Book, p post) (int64, int64, error) {
		row, err := b.Take(p.Take)
		if err != nil {
			return 0, 0, err
		}
		if row.Review == nil || row.Review.ID != p.Review {
			return 0, 0, refused{http.StatusConflict, "changed", "another verdict was given meanwhile: look at the take again", ""}
		}
		_, err = b.TakeBack(p.Take)
		return p.Review, p.Take, err
	})
}

func (d *Desk) remark(w http.ResponseWriter, r *http.Request) error {
	return d.keep(w, r, func(p *post) error {
		if p.Words = strings.TrimSpace(p.Words); p.Words == "" || p.Student <= 0 || p.Task < 0 {
			return wrong("a remark has the number of a student, and words")
		}
		return checkWords("words", p.Words)
	}, func(b Book, p post) (int64, int64, error) {
		id, err := b.AddRemark(class.Remark{Student: p.Student, Task: p.Task, At: d.now().UTC().Format(time.RFC3339), Words: p.Words})
		return id, 0, err
	})
}

func checkWords(what, s string) error {
	if n := len([]rune(s)); n > class.MaxWords {
		return wrong("%s: %d letters, at most %d", what, n, class.MaxWords)
	}
	for _, r := range s {
		if r < ' ' && r != '\n' || r == 0x7f || r == '\uFFFD' {
			return wrong("%s: it has what cannot be printed in it", what)
		}
	}
	return nil
}
