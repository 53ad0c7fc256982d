package mailbox_test

import (
	"strings"
	"testing"

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
		b.WriteString(l.Text + "\n")
	}
	return b.String()
}

func TestProbeOfAGoodMailbox(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Put("To approve", letter("d", "x", "x"))
	want := mailbox.Wanted{Inbox: "INBOX", Folders: []string{"To approve", "Set aside"}, Sent: "Outgoing archive"}
	got := text(mailbox.Probe(t.Context(), s.Config("starttls"), s.Source(), want, quiet))
	for _, line := range []string{
		"lets us in with the password of print@larkfield.example from $PW\n",
		"ok the folder \"INBOX\" is there (0 messages)\n",
		"ok the folder \"To approve\" is there (1 messages); a test message was put in and taken out again\n",
		"ok the folder \"Set aside\" was missing and has been made (0 messages); a test message was put in and taken out again\n",
		"ok the folder \"Outgoing archive\" is there (0 messages); a test message was put in and taken out again\n",
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
	for _, line := range []string{"(IDLE), so letters are seen at the next poll", "(UIDPLUS), so our old drafts stay, marked as deleted", "(MOVE), so messages are copied",
		`the server keeps sent mail in "Outgoing archive" and mailbox.toml says "Sent"; set sent to the former if staff look there`} {
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
	want := "mend we may not put messages in, mark messages as deleted, remove messages in the folder \"To approve\"; ask the mailbox's owner for the right\n"
	if !strings.Contains(got, want) || strings.Count(got, "mend ") != 1 {
		t.Fatal(got)
	}
}

func TestProbeOfNoServer(t *testing.T) {
	s := mailtest.Dovecot(t)
	got := mailbox.Probe(t.Context(), s.Config("none"), mailtest.Password(t, s.User, "wrong"), mailbox.Wanted{Inbox: "INBOX"}, quiet)
	if len(got) != 1 || got[0].OK || !strings.Contains(got[0].Text, "check user and secret") {
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
	for _, want := range []string{`refuses to store a message in the folder "To approve"`, `a test message that was put into the folder "Set aside" could not be taken out again`,
		"ok the folder \"Approved\" is there (1 messages); a test message was put in and taken out again\n", "ok the folder \"Outgoing archive\" is there (0 messages); a test message was put in and taken out again\n"} {
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
	if want := "look 127.0.0.1:"; !strings.Contains(got, want) || !strings.Contains(got, "lets us in 2 times at once, not 4: approvals by folder are seen with each poll only") || strings.Contains(got, "mend ") {
		t.Error(got)
	}
}
