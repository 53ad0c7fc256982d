package mailbox_test

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

func text(lines []mailbox.Check) string {
	var b strings.Builder
	for _, l := range lines {
		switch {
		case l.Warn:
			b.WriteString("look ")
		case l.OK:
			b.WriteString("ok ")
		default:
			b.WriteString("mend ")
		}
		b.WriteString(l.Text.String() + "\n")
	}
	return b.String()
}

// folderTried is the line of a folder that was there, and may be used.
func folderTried(folder string, messages uint32) string {
	return "ok " + job.Say("doctor.folder-tried", job.Args{"folder": folder, "found": job.Say("doctor.found.there", nil), "messages": messages,
		"tried": job.Say("doctor.tried.removed", nil)}).String() + "\n"
}

func TestProbeOfAGoodMailbox(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Put("To approve", letter("d", "x", "x"))
	want := mailbox.Wanted{Inbox: "INBOX", Folders: []string{"To approve", "Set aside"}, Sent: "Outgoing archive"}
	got := text(mailbox.Probe(t.Context(), s.Config("starttls"), s.Source(), want, quiet))
	for _, line := range []string{
		`"with":{"key":"servers.with.password-env","args":{"name":"PW","user":"print@larkfield.example"}}}` + "\n",
		`ok doctor.folder {"folder":"INBOX","found":{"key":"doctor.found.there"},"messages":0}` + "\n",
		folderTried("To approve", 1),
		strings.Replace(folderTried("Set aside", 0), "found.there", "found.made", 1),
		folderTried("Outgoing archive", 0),
	} {
		if !strings.Contains(got, line) {
			t.Errorf("%q is not in\n%s", line, got)
		}
	}
	if strings.Contains(got, "mend ") || strings.Contains(got, "look ") {
		t.Error(got)
	}
}

func TestProbeOfALesserServer(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.Hide("IDLE", "MOVE", "UIDPLUS"))
	got := text(mailbox.Probe(t.Context(), s.Config("none"), s.Source(), mailbox.Wanted{Inbox: "INBOX", Sent: "Sent"}, quiet))
	for _, line := range []string{"doctor.no-idle ", "doctor.no-uidplus ", "doctor.no-move ",
		`doctor.other-sent {"ours":"Sent","theirs":"Outgoing archive"}`} {
		if !strings.Contains(got, line) {
			t.Errorf("%q is not in\n%s", line, got)
		}
	}
}

// RFC 4314: the server says what we may do in each folder.
func TestProbeOfRights(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.ACL())
	s.Put("To approve", letter("d", "x", "x"))
	s.Put("Set aside", letter("d", "x", "x"))
	s.Restrict("To approve", "lrs")
	got := text(mailbox.Probe(t.Context(), s.Config("none"), s.Source(), mailbox.Wanted{Inbox: "INBOX", Folders: []string{"To approve", "Set aside"}, Sent: "Outgoing archive"}, quiet))
	want := `mend doctor.no-rights {"folder":"To approve","rights":[{"key":"doctor.right.i"},{"key":"doctor.right.t"},{"key":"doctor.right.e"}]}` + "\n"
	if !strings.Contains(got, want) || strings.Count(got, "mend ") != 1 {
		t.Fatal(got)
	}
}

func TestProbeOfNoServer(t *testing.T) {
	s := mailtest.Dovecot(t)
	got := mailbox.Probe(t.Context(), s.Config("none"), mailtest.Password(t, s.User, "wrong"), mailbox.Wanted{Inbox: "INBOX"}, quiet)
	if len(got) != 1 || got[0].OK || !strings.Contains(got[0].Text.String(), `{"key":"servers.mend.imap-secret"}`) {
		t.Fatal(text(got))
	}
}

// Rights that the server does not tell of show when a message is put in.
func TestProbeReallyPosts(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.ACL(), mailtest.Hide("ACL"))
	for folder, rights := range map[string]string{"To approve": "lrs", "Set aside": "lrsit", "Approved": "lrsite"} {
		s.Put(folder, letter("d", "x", "x"))
		s.Restrict(folder, rights)
	}
	got := text(mailbox.Probe(t.Context(), s.Config("none"), s.Source(), mailbox.Wanted{Inbox: "INBOX", Folders: []string{"To approve", "Set aside", "Approved"}, Sent: "Outgoing archive"}, quiet))
	for _, want := range []string{`"what":{"key":"servers.to.store","args":{"folder":"To approve"}}`, `doctor.not-removed {"folder":"Set aside"`,
		folderTried("Approved", 1), folderTried("Outgoing archive", 0)} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
	if strings.Count(got, "mend ") != 2 {
		t.Error(got)
	}
	for folder, want := range map[string]int{"Approved": 1, "Outgoing archive": 0} {
		if left := s.Messages(folder); len(left) != want {
			t.Errorf("%d messages are left in %s, want %d", len(left), folder, want)
		}
	}
}

// The robot has up to four connections; a server that allows fewer is told of.
func TestProbeOfFewConnections(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.Connections(2))
	got := text(mailbox.Probe(t.Context(), s.Config("none"), s.Source(), mailbox.Wanted{Inbox: "INBOX", Sent: "Outgoing archive"}, quiet))
	if want := `look doctor.connections {"server":"127.0.0.1:`; !strings.Contains(got, want) || !strings.Contains(got, `"times":2,"wanted":4}`) || strings.Contains(got, "mend ") {
		t.Error(got)
	}
}
