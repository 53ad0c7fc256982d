package casework

import (
	"meshclerk/intake/job"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
)

// Understand reads the patron's wishes from a letter.
func Understand(l *job.Letter, r *rules.Rules) job.Wishes {
	return understood(wishes.New(r.Words, r.Library.Branches, r.Materials), l, known{})
}

// known is what a letter answers.
type known struct {
	asked    []string // the questions of the letter that it answers, as they were numbered
	personal bool     // that letter had more in it than the offer, so that a bare yes may be to anything
	earlier  job.Wishes
	parts    int // that the letter which it answers was about
}

// understand reads the wishes of a letter, knowing what it answers. The house's words
// are compiled once.
func (o *Office) understand(l *job.Letter, to known) job.Wishes {
	o.words.Do(func() { o.reader = wishes.New(o.Rules.Words, o.Rules.Library.Branches, o.Rules.Materials) })
	return understood(o.reader, l, to)
}

func understood(reader *wishes.Reader, l *job.Letter, to known) job.Wishes {
	if l.Disposition != job.Answer {
		to.parts = meshesIn(l) // "all three pieces in blue"
	}
	w := reader.Understand(wishes.Input{
		Text: l.Text, Subject: l.Subject, Language: l.Language, Date: l.Date, From: l.From,
		Answer: l.Disposition == job.Answer, Inline: l.Inline, Quoted: l.Quoted,
		Questions: to.asked, Earlier: to.earlier, Personal: to.personal, Parts: to.parts,
	})
	if w.Colours == nil {
		w.Colours = []string{} // unsaid is an empty list to those who read the JSON
	}
	return w
}
