package ledger

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
)

// How a letter was found to belong to a conversation.
const (
	ByReference = "reference" // it answers a message we sent or a letter we took
	ByToken     = "token"     // its subject holds the conversation's token
	BySender    = "sender"    // the same sender wrote lately: a guess
)

// Thread is a conversation that a letter may belong to.
type Thread struct {
	Token string   `json:"token"`
	Jobs  []job.ID `json:"jobs"` // oldest first
	How   string   `json:"how"`
	// Guess: staff must confirm it.
	Guess bool `json:"guess"`
	// SameSender: the letter comes from a patron of the conversation, or from who
	// speaks for them. Where it does not, someone else answers, or pretends to.
	SameSender bool `json:"same_sender"`
}

// Bounds on what one letter may make us look up.
const (
	maxReferences = 100
	maxTokens     = 20
	recent        = 30 * 24 * time.Hour
)

var tokenForm = regexp.MustCompile(`(?i)\b[0-9a-hjkmnp-tv-z]{12}\b`)

// FindThreads gives the conversations a letter may belong to, by the strongest
// sign only: references first (RFC 5322, 3.6.4), then a token in the subject,
// then the sender's open or recent jobs as guesses, newest first.
func (r Reader) FindThreads(ctx context.Context, l job.Letter) ([]Thread, error) {
	tokens, err := r.byReference(ctx, l)
	how := ByReference
	if err == nil && len(tokens) == 0 {
		how = ByToken
		tokens, err = r.byToken(ctx, l.Subject)
	}
	if err == nil && len(tokens) == 0 {
		how = BySender
		tokens, err = r.bySender(ctx, l.From.Address)
	}
	if err != nil {
		return nil, err
	}
	var out []Thread
	for _, token := range tokens {
		t, err := r.thread(ctx, token, how, l.From.Address)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

func (r Reader) thread(ctx context.Context, token, how, sender string) (Thread, error) {
	t := Thread{Token: token, How: how, Guess: how == BySender}
	rows, err := r.Jobs(ctx, Filter{Thread: token})
	for _, row := range rows {
		t.Jobs = append(t.Jobs, row.ID)
		t.SameSender = t.SameSender || job.SameAddress(row.Patron.Address, sender)
	}
	if err != nil || t.SameSender {
		return t, err
	}
	guardians, err := r.Guardians(ctx, token)
	t.SameSender = slices.ContainsFunc(guardians, func(a string) bool { return job.SameAddress(a, sender) })
	return t, err
}

// byReference follows the nearest message first: In-Reply-To, then References
// from the last one back.
func (r Reader) byReference(ctx context.Context, l job.Letter) ([]string, error) {
	refs := []string{l.InReplyTo}
	for _, ref := range slices.Backward(l.References) {
		refs = append(refs, ref)
	}
	for i, ref := range refs {
		if i == maxReferences {
			break
		}
		if ref == "" {
			continue
		}
		tokens, err := r.words(ctx, `SELECT DISTINCT j.thread FROM jobs j JOIN draft_jobs dj ON dj.job = j.id JOIN draft_message_ids m ON m.draft = dj.draft WHERE m.message_id = ?
			UNION SELECT DISTINCT j.thread FROM jobs j JOIN job_letters jl ON jl.job = j.id JOIN letters l ON l.id = jl.letter WHERE l.message_id = ?`, ref, ref)
		if err != nil || len(tokens) > 0 {
			return tokens, err
		}
	}
	return nil, nil
}

func (r Reader) byToken(ctx context.Context, subject string) ([]string, error) {
	var found []string
	for _, word := range tokenForm.FindAllString(subject, maxTokens) {
		tokens, err := r.words(ctx, `SELECT DISTINCT thread FROM jobs WHERE thread = ?`, strings.ToLower(word))
		if err != nil {
			return nil, err
		}
		found = append(found, tokens...)
	}
	slices.Sort(found)
	return slices.Compact(found), nil
}

func (r Reader) bySender(ctx context.Context, address string) ([]string, error) {
	if address == "" {
		return nil, nil
	}
	args := append([]any{strings.ToLower(address)}, anys(openStages())...)
	args = append(args, stamp(r.l.clock().Add(-recent)))
	return r.words(ctx, `SELECT thread FROM jobs WHERE patron_address = ? AND (stage IN (`+marks(len(openStages()))+`) OR since >= ?)
		GROUP BY thread ORDER BY MAX(changed) DESC LIMIT 20`, args...)
}
