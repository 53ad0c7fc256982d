package casework

import (
	"context"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Refusal is why the house declines a request: a reason of its list, or a person's own
// words, which stand instead of the list's sentence where both are given.
type Refusal struct {
	Code  string // of refusals.toml; "" or "other" is none of them
	Words string
}

// told gives what the patron is told, in the patron's language, and the word that the
// monthly report counts it by; "" where the house has no list to choose from.
func (o *Office) told(f Refusal, language string) (words, as string, err error) {
	words = strings.TrimSpace(f.Words)
	if f.Code != "" && f.Code != rules.RefusedOther {
		listed, ok := o.Rules.Refusal(f.Code)
		if !ok {
			return "", "", job.Refuse(job.Say("faults.no-such-refusal", job.Args{"given": f.Code, "known": o.refusalCodes()}))
		}
		as = listed.Code
		if words == "" {
			words = listed.In(language, o.Rules.Library)
		}
	}
	if words == "" {
		return "", "", job.Refuse(job.Say("faults.no-reason-to-refuse", nil))
	}
	if err := forPatron(words); err != nil {
		return "", "", err
	}
	if f.Code == rules.RefusedOther {
		as = f.Code
	}
	return words, as, nil
}

func (o *Office) refusalCodes() []string {
	out := []string{}
	for _, f := range o.Rules.Refusals {
		out = append(out, f.Code)
	}
	return append(out, rules.RefusedOther)
}

// Refuse declines a request. The letter that tells the patron is drafted, and until it
// has left, TakeUp undoes it.
func (o *Office) Refuse(ctx context.Context, id job.ID, f Refusal, by string) error {
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	words, as, err := o.told(f, j.Language)
	if err != nil {
		return err
	}
	return o.CloseAs(ctx, id, job.Declined, as, by, words)
}

// RefusalLetter gives the letter that would tell the patron. It changes nothing.
func (o *Office) RefusalLetter(ctx context.Context, id job.ID, f Refusal) (draft.Message, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return draft.Message{}, err
	}
	words, _, err := o.told(f, j.Language)
	if err != nil {
		return draft.Message{}, err
	}
	if !job.MayGo(j.Stage, job.Declined) {
		return draft.Message{}, &ledger.StageError{Job: id, From: j.Stage, To: job.Declined}
	}
	in, _, err := o.gather(ctx, previewID, []job.Job{j})
	if err != nil {
		return draft.Message{}, err
	}
	in.Domain, in.Template, in.Reason, in.Picture = "preview.invalid", templates.TextDeclined, words, nil
	return draft.Compose(*in)
}

// Reopen lets a reply wait again that was put aside, was refused by the mail server, or
// is approved and not yet on its way.
func (o *Office) Reopen(ctx context.Context, id, by, why string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.Reopen(ctx, id, by, job.Plain(why)); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepPost, id, time.Time{}) // its copy in the mailbox waits again too
	})
}

// byItself are the reasons for which a reply was set aside without a person's wish to
// see it again.
var byItself = []string{"history.overtaken", "history.collected-meanwhile", "history.taken-up", "history.undone"}

// Aside lists the replies that a person put aside for another time: the newest about
// their jobs, with the longest aside first.
func (o *Office) Aside(ctx context.Context) ([]ledger.Draft, error) {
	all, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftSetAside}})
	if err != nil {
		return nil, err
	}
	var out []ledger.Draft
	for _, d := range all {
		if slices.Contains(byItself, d.Why.Key) {
			continue
		}
		waits, err := o.stillAside(ctx, d)
		if err != nil {
			return nil, err
		}
		if waits {
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(a, b ledger.Draft) int { return a.Changed.Compare(b.Changed) })
	return out, nil
}

// stillAside reports whether nothing newer was written about a job of a reply, and the
// job has not come to its end.
func (o *Office) stillAside(ctx context.Context, d ledger.Draft) (bool, error) {
	for _, id := range d.Jobs {
		j, err := o.Ledger.Job(ctx, id)
		if err != nil {
			return false, err
		}
		if j.Stage == job.Taken || j.Stage == job.Checked || j.Stage.Over() && situations[j.Stage] != d.Kind {
			continue
		}
		list, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Job: id})
		if err != nil {
			return false, err
		}
		list = slices.DeleteFunc(list, func(x ledger.Draft) bool { return x.State == ledger.DraftSuperseded })
		if n := len(list); n > 0 && list[n-1].ID == d.ID {
			return true, nil
		}
	}
	return false, nil
}
