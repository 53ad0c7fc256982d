package casework

import (
	"meshclerk/intake/job"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
)

// Understand reads the patron's wishes from a letter.
func Understand(l *job.Letter, r *rules.Rules) job.Wishes {
	return understood(wishes.New(r.Words, r.Library.Branches, r.Materials), l, nil, job.Wishes{})
}

// understand reads the wishes of a letter, given the questions that its writer
// was asked, in the order they were numbered, and what was known before. The
// house's words are compiled once.
func (o *Office) understand(l *job.Letter, asked []string, earlier job.Wishes) job.Wishes {
	o.words.Do(func() { o.reader = wishes.New(o.Rules.Words, o.Rules.Library.Branches, o.Rules.Materials) })
	return understood(o.reader, l, asked, earlier)
}

func understood(reader *wishes.Reader, l *job.Letter, asked []string, earlier job.Wishes) job.Wishes {
	w := reader.Understand(wishes.Input{
		Text: l.Text, Subject: l.Subject, Language: l.Language, Date: l.Date,
		Answer: l.Disposition == job.Answer, Inline: l.Inline, Quoted: l.Quoted,
		Questions: asked, Earlier: earlier,
	})
	if w.Colours == nil {
		w.Colours = []string{} // unsaid is an empty list to those who read the JSON
	}
	return w
}
