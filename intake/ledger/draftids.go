package ledger

import "context"

// DraftMessageIDs gives every Message-ID that a draft has or once had: copies
// in the mailbox may still carry an earlier one.
func (r Reader) DraftMessageIDs(ctx context.Context, id string) ([]string, error) {
	return r.words(ctx, `SELECT message_id FROM draft_message_ids WHERE draft = ? ORDER BY message_id`, id)
}
