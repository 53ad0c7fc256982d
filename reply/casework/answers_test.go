package casework

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// However a job stands, there is a sentence for it in every language, with the figures
// that the sentence takes.
func TestHowAJobStandsIsSaid(t *testing.T) {
	b := templates.DefaultBook()
	for _, lang := range []string{"en", "fr", "es"} {
		say := b.In(lang, "en-CA", "CAD")
		for _, s := range []job.Stage{job.Quoted, job.NeedsAgreement, job.Agreed, job.Printing, job.Failed, job.Ready, job.Collected} {
			key, args := standsAt(job.Job{File: "clip.stl", Stage: s}, 2)
			if err := say.Missing(job.Say(key, args)); err != nil {
				t.Errorf("%s, %s: %v", lang, s, err)
			}
		}
	}
}

// Thanks are known for thanks, and nothing else is.
func TestOnlyThanks(t *testing.T) {
	w := rules.Default().Words
	for text, want := range map[string]bool{
		"ok thx": true, "\U0001F44D": true, "Wonderful, thank you so much!\n\nIda": true, "Thanks!\nIda Marsh": true,
		"Thank you, but it is broken": false, "thanks, when is it ready?": false,
		"\U0001F44D\U0001F3FB": true, "\U0001F44D\U0001F3FF": true, "\U0001F3FA": false, "\U0001F400": false, // the first and the last tone of a skin, and their neighbours
		strings.Repeat("ok ", 200): true, strings.Repeat("ok ", 200) + "!": false, // 600 bytes at most
		"Thanks. Make it two.": false, "\U0001F620": false, "": false,
	} {
		l := &job.Letter{From: job.Address{Name: "Ida Marsh"}, Language: "en", Text: text}
		if onlyThanks(l, w) != want {
			t.Errorf("%q: thanks alone: %v, want %v", text, !want, want)
		}
	}
}

// A name at the end of a letter is its writer's; a wish there is not.
func TestSignature(t *testing.T) {
	for text, want := range map[string]string{
		"Please print it.\nFrank Lister": "Frank Lister", "One in red.\n\nThanks,\nFrank\n": "Frank",
		"One in red.\nCentral": "", "One in red.\nAda Mae Byron": "Ada Mae Byron", "One in red.\nAda Mae Byron King": "", "One in red.\nat Millbrook please": "", "Frank Lister": "",
	} {
		if got := signature(text); got != want {
			t.Errorf("%q is signed %q, want %q", text, got, want)
		}
	}
	if !sameName("Tom", "Tom Averill") || !sameName("A. Marlowe", "Ada Marlowe") || sameName("Frank Lister", "Amy Lister") || sameName("", "Amy") {
		t.Error("who shares a first name, or an initial, may be the same")
	}
	if got := questionsIn("Hello.\nWhen is it ready? Thanks.\nAnd where?"); len(got) != 2 || !strings.Contains(got[0], "When is it ready?") || !strings.Contains(got[1], "And where?") {
		t.Errorf("questions: %q", got)
	}
}
