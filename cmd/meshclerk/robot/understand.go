package robot

import (
	"meshclerk/intake/job"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
)

// Understand reads the patron's wishes from a letter.
func Understand(l *job.Letter, r *rules.Rules) job.Wishes {
	return wishes.Understand(wishesInput(l, r, nil))
}

// understandAnswer reads the wishes of an answer, given the questions that the
// patron was asked, in the order they were numbered.
func understandAnswer(l *job.Letter, r *rules.Rules, asked []string) job.Wishes {
	return wishes.Understand(wishesInput(l, r, asked))
}

func wishesInput(l *job.Letter, r *rules.Rules, asked []string) wishes.Input {
	return wishes.Input{
		Text: l.Text, Subject: l.Subject, Language: l.Language, Date: l.Date,
		Answer: l.Disposition == job.Answer, Questions: asked, Inline: l.Inline,
		Words: r.Words, Branches: r.Library.Branches, Materials: r.Materials,
	}
}
