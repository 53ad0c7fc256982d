package robot

import (
	"meshclerk/intake/job"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
)

// Understand reads the patron's wishes from a letter.
func Understand(l *job.Letter, r *rules.Rules) job.Wishes {
	return understandAnswer(l, r, nil, job.Wishes{})
}

// understandAnswer reads the wishes of an answer, given the questions that the
// patron was asked, in the order they were numbered, and what was known before.
func understandAnswer(l *job.Letter, r *rules.Rules, asked []string, earlier job.Wishes) job.Wishes {
	in := wishesInput(l, r)
	in.Questions, in.Earlier = asked, earlier
	w := wishes.Understand(in)
	if w.Colours == nil {
		w.Colours = []string{} // unsaid is an empty list to those who read the JSON
	}
	return w
}

func wishesInput(l *job.Letter, r *rules.Rules) wishes.Input {
	return wishes.Input{
		Text: l.Text, Subject: l.Subject, Language: l.Language, Date: l.Date,
		Answer: l.Disposition == job.Answer, Inline: l.Inline, Quoted: l.Quoted,
		Words: r.Words, Branches: r.Library.Branches, Materials: r.Materials,
	}
}
