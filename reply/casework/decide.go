package casework

import (
	"context"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Decision is what a person makes of a letter that was left to them.
type Decision struct {
	Letter string
	As     job.Reply  // accept, decline or change; "" takes over what it answers, and no more
	Wishes job.Wishes // what the person read in it beside what is on record; of a change

	Read *job.Wishes // stands instead of what the program read; nil leaves that
	By   string
}

// Decide takes a letter as what a person says it means, as if it had said so
// clearly. What was open about it is closed.
func (o *Office) Decide(ctx context.Context, d Decision) error {
	if strings.TrimSpace(d.By) == "" {
		return job.Refuse(job.Say("faults.decision-without-name", nil))
	}
	rec, err := o.Ledger.Letter(ctx, d.Letter)
	if err != nil {
		return err
	}
	if rec.Parsed == nil {
		return job.Refuse(job.Say("faults.letter-unread", job.Args{"letter": d.Letter}))
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		jobs, err := tx.JobsOf(ctx, d.Letter)
		if err != nil {
			return err
		}
		if len(jobs) == 0 {
			return job.Refuse(job.Say("faults.letter-of-no-job", job.Args{"letter": d.Letter}))
		}
		if err := settleLetter(ctx, tx, d.Letter, d.By); err != nil {
			return err
		}
		l := *rec.Parsed
		if d.Read != nil {
			l.Wishes = *d.Read
		}
		l.Wishes = mergeRead(l.Wishes, d.Wishes)
		l.Wishes.Answer, l.Wishes.Unread = d.As, nil
		in := &incoming{o: o, tx: tx, id: d.Letter, l: &l, by: d.By}
		if err := in.recordGuardian(ctx, jobs); err != nil {
			return err
		}
		return in.reply(ctx, jobs)
	})
}

// mergeRead lays what a person read in a letter over what the program read.
func mergeRead(read, by job.Wishes) job.Wishes {
	if by.Copies != nil {
		read.Copies, read.Items = by.Copies, nil
	}
	if len(by.Colours) > 0 {
		read.Colours, read.Items = by.Colours, nil
	}
	if by.Size != nil || by.Scale != nil {
		read.Size, read.Scale = by.Size, by.Scale
	}
	if by.Infill != nil {
		read.Infill = by.Infill
	}
	for _, f := range []struct {
		into *string
		from string
	}{{&read.Material, by.Material}, {&read.Supports, by.Supports}, {&read.NeededBy, by.NeededBy},
		{&read.Phone, by.Phone}, {&read.Card, by.Card}, {&read.Pickup, by.Pickup}} {
		if f.from != "" {
			*f.into = f.from
		}
	}
	return read
}

// AboutLetter are the notices that ask a person what a letter means.
var AboutLetter = []ledger.NoticeKind{ledger.NoticeQuestion, ledger.NoticeYesToWhat, ledger.NoticeTooLate, ledger.NoticeStray, ledger.NoticeUnproven}

// settleLetter closes what is open about a letter.
func settleLetter(ctx context.Context, tx *ledger.Tx, letter, by string) error {
	for _, kind := range AboutLetter {
		if err := tx.SettleLetter(ctx, kind, letter, by); err != nil {
			return err
		}
	}
	return nil
}

// AskAbout has the frame of a letter drafted in which staff write to the patron in
// their own words about a letter. The letter stays open until that one has left.
func (o *Office) AskAbout(ctx context.Context, letter string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		jobs, err := tx.JobsOf(ctx, letter)
		if err != nil {
			return err
		}
		if len(jobs) == 0 {
			return job.Refuse(job.Say("faults.letter-of-no-job", job.Args{"letter": letter}))
		}
		return tx.Enqueue(ctx, ledger.StepQuestion, jobs[0].Thread, time.Time{})
	})
}

// CloseLetter records that a letter needs nothing more. A yes that waited for it
// is looked at again.
func (o *Office) CloseLetter(ctx context.Context, letter, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return o.letterDealtWith(ctx, tx, letter, by) })
}

// Belongs ties a letter that may be of a job's conversation to it, on a person's
// word, and reads it as an answer there.
func (o *Office) Belongs(ctx context.Context, letter string, id job.ID, by string) error {
	rec, err := o.Ledger.Letter(ctx, letter)
	if err != nil {
		return err
	}
	if rec.Parsed == nil {
		return job.Refuse(job.Say("faults.letter-unread", job.Args{"letter": letter}))
	}
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	l := *rec.Parsed
	l.Disposition = job.Answer
	thread := ledger.Thread{Token: j.Thread, SameSender: job.SameAddress(j.Patron.Address, l.From.Address)}
	own, doubt, err := o.inContext(ctx, &l, []ledger.Thread{thread})
	if err != nil {
		return err
	}
	p, err := o.joinedFor(ctx, &l, []ledger.Thread{thread})
	if err != nil {
		return err
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := settleLetter(ctx, tx, letter, by); err != nil {
			return err
		}
		in := &incoming{o: o, tx: tx, id: letter, l: &l, own: own, doubt: doubt, joint: p, afresh: rec.Parsed.Disposition == job.Request}
		return in.answer(ctx, thread)
	})
}

// TakeUp lets a job that was declined or withdrawn go on where it was: it is checked
// and offered anew. A letter about its end that has not left is set aside.
func (o *Office) TakeUp(ctx context.Context, id job.ID, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.Move(ctx, id, job.Taken, by, job.Say("history.taken-up", nil)); err != nil {
			return err
		}
		waiting, err := tx.Drafts(ctx, ledger.DraftFilter{Job: id, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftFailed, ledger.DraftApproved}})
		if err != nil {
			return err
		}
		for _, d := range waiting {
			if err := tx.SetAside(ctx, d.ID, by, job.Say("history.taken-up", nil)); err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, ledger.StepFile, d.ID, time.Time{}); err != nil {
				return err
			}
		}
		return tx.Enqueue(ctx, ledger.StepCheck, string(id), time.Time{})
	})
}
