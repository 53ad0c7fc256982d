package draft

import (
	"testing"

	"meshclerk/intake/job"
)

func TestChoose(t *testing.T) {
	stop := func(codes ...string) *job.Job {
		j := part("en")
		for _, c := range codes {
			finding(j, job.Finding{Code: c, Level: job.Stop})
		}
		return j
	}
	state := func(s job.AgreementState) *job.Job {
		j := part("en")
		j.Agreement = &job.Agreement{State: s}
		return j
	}
	stage := func(s job.Stage) *job.Job {
		j := state(job.AgreementNone)
		j.Stage = s
		return j
	}
	reported := func(change func(*job.Report)) *job.Job {
		j := part("en")
		change(j.Report)
		return j
	}
	with := func(as ...job.Attachment) *job.Letter { return &job.Letter{Attachments: as} }
	notLooked := part("en")
	notLooked.Agreement = nil
	for _, c := range []struct {
		name   string
		letter *job.Letter
		jobs   []*job.Job
		want   string
	}{
		{"good", nil, []*job.Job{part("en")}, "quote"},
		{"none", nil, []*job.Job{state(job.AgreementNone)}, "needs-agreement"},
		{"not looked up", nil, []*job.Job{notLooked}, "needs-agreement"},
		{"unproven", nil, []*job.Job{state(job.AgreementUnproven)}, "needs-agreement"},
		{"expired", nil, []*job.Job{state(job.AgreementExpired)}, "agreement-expired"},
		{"old version", nil, []*job.Job{state(job.AgreementOld)}, "agreement-expired"},
		{"guardian", nil, []*job.Job{state(job.AgreementGuardian)}, "agreement-expired"},
		{"too long", nil, []*job.Job{stop("too-long")}, "too-long"},
		{"too big and so too long", nil, []*job.Job{stop("too-long", "too-big")}, "too-big"},
		{"holes outweigh size", nil, []*job.Job{stop("too-big", "holes", "too-long")}, "cannot-print"},
		{"not stl", nil, []*job.Job{stop("not-stl")}, "unreadable"},
		{"unreadable", nil, []*job.Job{{Stage: job.Checked, Report: &job.Report{}}}, "unreadable"},
		{"unfinished", nil, []*job.Job{reported(func(r *job.Report) { r.Unfinished = true })}, "unfinished"},
		{"unfinished, as earlier versions said it", nil, []*job.Job{reported(func(r *job.Report) { r.Error = job.Plain("the check was not finished") })}, "unfinished"},
		{"unfinished and unreadable", nil, []*job.Job{reported(func(r *job.Report) { r.Readable, r.Unfinished = false, true })}, "unfinished"},
		{"no estimate", nil, []*job.Job{reported(func(r *job.Report) { r.Estimate = nil })}, "unfinished"},
		{"no price", nil, []*job.Job{reported(func(r *job.Report) { r.Quote = nil })}, "unfinished"},
		{"no report", nil, []*job.Job{{Stage: job.Checked}}, "unfinished"},
		{"several", nil, []*job.Job{part("en"), stop("holes")}, "several"},
		{"agreed", nil, []*job.Job{stage(job.Agreed)}, "accepted"},
		{"both ready", nil, []*job.Job{stage(job.Ready), stage(job.Ready)}, "ready"},
		{"ready and agreed", nil, []*job.Job{stage(job.Ready), stage(job.Agreed)}, "several"},
		{"a question", &job.Letter{Disposition: job.Answer, Wishes: job.Wishes{Answer: job.Question}}, []*job.Job{part("en")}, "question"},
		{"a question in a first letter", &job.Letter{Disposition: job.Request, Wishes: job.Wishes{Answer: job.Question}}, []*job.Job{part("en")}, "quote"},
		{"no file", &job.Letter{}, nil, "forgotten-attachment"},
		{"a model", with(job.Attachment{Name: "a.obj", Kind: job.KindModel}), nil, "wrong-file-type"},
		{"a link", &job.Letter{Links: []string{"https://x.example"}}, nil, "link"},
		{"winmail", with(job.Attachment{Name: "WINMAIL.DAT", Kind: job.KindOther}), nil, "cannot-open"},
		{"locked zip", with(job.Attachment{Name: "a.stl", Kind: job.KindMesh, Note: job.Say("reading.file.locked", nil)}), nil, "cannot-open"},
		{"locked zip, as earlier versions kept it", with(job.Attachment{Name: "a.stl", Kind: job.KindMesh, Note: job.Plain("locked with a password; ask for it without one")}), nil, "cannot-open"},
		{"a photo and a link in the signature", &job.Letter{Attachments: []job.Attachment{{Name: "logo.png", Kind: job.KindPicture}}, Links: []string{"https://x.example"}}, nil, "link"},
	} {
		if got := Choose(c.letter, c.jobs, house()); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// TestNothingOfTheRegisterForTheUnproven: a sender who is not proven is not
// told whether or when somebody signed.
func TestNothingOfTheRegisterForTheUnproven(t *testing.T) {
	in := input(t, "en")
	j := part("en")
	j.Agreement = &job.Agreement{State: job.AgreementUnproven, Why: job.Plain("signed by somebody"), Name: "Zoe Quillfeather", Card: "29001000000042", Expires: "2026-10-01"}
	in.Jobs = []*job.Job{j}
	m, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{"Quillfeather", "29001000000042", "October", "ran out", "signed by somebody"} {
		if contains(m, secret) {
			t.Errorf("the letter tells %q", secret)
		}
	}
}

// TestPatron: the first of two names, the whole of others, nothing of what is none.
func TestPatron(t *testing.T) {
	for name, want := range map[string]string{
		"Ada Marlowe": "Ada", "Marlowe, Ada": "Ada", "Ada": "Ada", "Dr. Marlowe": "Dr. Marlowe", "A Marlowe": "A Marlowe",
		"María del Mar Quintero": "María del Mar Quintero", "Fernhill Model Boat Club": "Fernhill Model Boat Club",
		"": "", "ada@example.org": "", "<b>Ada</b>": "", "one two three four five six seven": "", "kid4042": "",
	} {
		in := input(t, "en")
		in.Letter.From.Name = name
		f := filler{in: &in}
		if got := f.patron(); string(got) != want {
			t.Errorf("%q is called %q, want %q", name, got, want)
		}
	}
}
