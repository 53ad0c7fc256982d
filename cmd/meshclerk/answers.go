package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

type answersCmd struct {
	List    answersListCmd    `cmd:"" default:"withargs" help:"List the letters that were left to a person, with their words."`
	Yes     answersYesCmd     `cmd:"" help:"Take a letter as a yes to the last offer."`
	No      answersNoCmd      `cmd:"" help:"Take a letter as a no; the request is closed."`
	Change  answersChangeCmd  `cmd:"" help:"Take a letter as a wish for something else; a new offer is drafted."`
	Noted   answersNotedCmd   `cmd:"" help:"Take over what a letter answers, such as a colour or a branch, and no more."`
	Ask     answersAskCmd     `cmd:"" help:"Draft a letter in which you write to the patron in your own words."`
	Belongs answersBelongsCmd `cmd:"" help:"Say which job a letter is about, and read it as an answer there."`
	Close   answersCloseCmd   `cmd:"" help:"Record that a letter needs nothing more."`
}

type answersListCmd struct {
	house
	JSON bool `name:"json" help:"One JSON object per line, for scripts."`
}

// leftLetter is a letter that was left to a person.
type leftLetter struct {
	Letter string      `json:"letter"`
	Notice string      `json:"notice"`
	Since  time.Time   `json:"since"`
	From   job.Address `json:"from"`
	Jobs   []job.ID    `json:"jobs"`
	Why    string      `json:"why"`
	Text   string      `json:"text"` // the patron's own words
	Read   job.Wishes  `json:"read"` // what was understood of them
}

func (c *answersListCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	left, err := leftLetters(e, l)
	if err != nil {
		return err
	}
	if c.JSON {
		for _, one := range left {
			if err := writeJSON(e, one); err != nil {
				return err
			}
		}
		return nil
	}
	if len(left) == 0 {
		_, err = fmt.Fprintln(e.out, "no letter waits for a person")
		return err
	}
	for _, one := range left {
		fmt.Fprintf(e.out, "%s  %s  %s <%s>  %s\n  %s\n", one.Letter, day(one.Since), plain.OneLine(one.From.Name), plain.OneLine(one.From.Address), joined(one.Jobs), one.Why)
		for line := range strings.Lines(plain.Shorten(strings.TrimSpace(one.Text), 600)) {
			fmt.Fprintf(e.out, "  | %s\n", plain.OneLine(line))
		}
	}
	return nil
}

func joined(ids []job.ID) string {
	var out []string
	for _, id := range ids {
		out = append(out, string(id))
	}
	return strings.Join(out, ", ")
}

func leftLetters(e *env, l *ledger.Ledger) ([]leftLetter, error) {
	notices, err := l.Notices(e.ctx, false)
	if err != nil {
		return nil, err
	}
	var out []leftLetter
	for _, n := range notices {
		if !slices.Contains(casework.AboutLetter, n.Kind) {
			continue
		}
		for _, id := range n.Letters {
			rec, err := l.Letter(e.ctx, id)
			if err != nil {
				return nil, err
			}
			if rec.Parsed == nil {
				continue
			}
			one := leftLetter{Letter: id, Notice: n.ID, Since: rec.TakenAt, From: rec.Parsed.From, Why: e.words().said(n.Text), Text: rec.Parsed.Text, Read: rec.Parsed.Wishes, Jobs: []job.ID{}}
			jobs, err := l.JobsOf(e.ctx, id)
			if err != nil {
				return nil, err
			}
			for _, j := range jobs {
				one.Jobs = append(one.Jobs, j.ID)
			}
			out = append(out, one)
		}
	}
	return out, nil
}

// oneLetter is the part of a command line that names a letter and who acts.
type oneLetter struct {
	house
	ID string `arg:"" name:"letter" help:"The letter, e.g. L-000042."`
	By string `required:"" placeholder:"NAME" help:"Who says so, for the record."`
}

func (c *oneLetter) do(e *env, said string, act func(o *casework.Office, letter string) error) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	if err := act(o, strings.ToUpper(strings.TrimSpace(c.ID))); err != nil {
		return err
	}
	_, err = fmt.Fprintln(e.out, said)
	return err
}

func (c *oneLetter) decide(e *env, as job.Reply, w job.Wishes, said string) error {
	return c.do(e, said, func(o *casework.Office, letter string) error {
		return o.Decide(e.ctx, casework.Decision{Letter: letter, As: as, Wishes: w, By: c.By})
	})
}

type answersYesCmd struct{ oneLetter }

func (c *answersYesCmd) Run(e *env) error {
	return c.decide(e, job.Accept, job.Wishes{}, "taken as a yes; the job goes onto the print list when nothing stands in the way")
}

type answersNoCmd struct{ oneLetter }

func (c *answersNoCmd) Run(e *env) error {
	return c.decide(e, job.Decline, job.Wishes{}, "taken as a no; "+letterFollows)
}

// wishFlags are what a person read in a letter.
type wishFlags struct {
	Copies   int     `placeholder:"N" help:"So many copies."`
	Colour   string  `placeholder:"NAME" help:"In this colour."`
	Material string  `placeholder:"NAME" help:"Of this plastic."`
	Scale    float64 `placeholder:"F" help:"So many times the size in the file, e.g. 1.5."`
	Branch   string  `placeholder:"NAME" help:"To be collected here."`
	Supports string  `placeholder:"WORD" help:"yes, no or soluble."`
	Phone    string  `placeholder:"NUMBER" help:"To be called here."`
	NeededBy string  `placeholder:"DAY" help:"By this day, YYYY-MM-DD."`
}

func (f wishFlags) wishes() job.Wishes {
	w := job.Wishes{Material: f.Material, Pickup: f.Branch, Supports: f.Supports, Phone: f.Phone, NeededBy: f.NeededBy}
	if f.Copies > 0 {
		w.Copies = &f.Copies
	}
	if f.Colour != "" {
		w.Colours = []string{f.Colour}
	}
	if f.Scale > 0 {
		w.Scale = &f.Scale
	}
	return w
}

type answersChangeCmd struct {
	oneLetter
	wishFlags
}

func (c *answersChangeCmd) Run(e *env) error {
	return c.decide(e, job.Change, c.wishes(), "taken as a change; the robot works it out and drafts a new offer")
}

type answersNotedCmd struct {
	oneLetter
	wishFlags
}

func (c *answersNotedCmd) Run(e *env) error {
	return c.decide(e, "", c.wishes(), "noted; what is still needed is asked")
}

type answersAskCmd struct{ oneLetter }

func (c *answersAskCmd) Run(e *env) error {
	return c.do(e, "the robot drafts the frame of a letter; write into it, then approve it as usual", func(o *casework.Office, letter string) error {
		return o.AskAbout(e.ctx, letter)
	})
}

type answersBelongsCmd struct {
	oneLetter
	Job string `required:"" placeholder:"JOB" help:"The job it is about, e.g. LP-000042."`
}

func (c *answersBelongsCmd) Run(e *env) error {
	return c.do(e, "tied to "+string(jobID(c.Job))+", and read as an answer there", func(o *casework.Office, letter string) error {
		return o.Belongs(e.ctx, letter, jobID(c.Job), c.By)
	})
}

type answersCloseCmd struct{ oneLetter }

func (c *answersCloseCmd) Run(e *env) error {
	return c.do(e, "closed", func(o *casework.Office, letter string) error { return o.CloseLetter(e.ctx, letter, c.By) })
}
