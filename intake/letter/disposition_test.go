package letter

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// TestWishesToPrint holds the words by which people ask for a print against
// labelled letters. A letter taken for a request costs staff a look at a draft; one
// that is missed stays unanswered in the mailbox, where staff see it as before.
func TestWishesToPrint(t *testing.T) {
	for _, set := range []string{"testdata/wishes-to-print.txt", "testdata/wishes-to-print-held-out.txt"} {
		right, wrong, missed := 0, 0, 0
		for _, line := range labelled(t, set) {
			text := strings.ReplaceAll(line[2:], `\n`, "\n")
			got, _ := wishToPrint(&job.Letter{Text: text, Links: links(text)})
			switch want := line[0] == '+'; {
			case got && want:
				right++
			case got:
				wrong++
				t.Logf("%s: taken for a request: %s", set, text)
			case want:
				missed++
				t.Logf("%s: missed: %s", set, text)
			}
		}
		precision, recall := float64(right)/float64(right+wrong), float64(right)/float64(right+missed)
		t.Logf("%s: precision %.3f, recall %.3f, of %d requests", set, precision, recall, right+missed)
		if precision < 0.95 || recall < 0.90 {
			t.Errorf("%s: precision %.3f, want 0.95; recall %.3f, want 0.90", set, precision, recall)
		}
	}
}

func labelled(t *testing.T, path string) []string {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(raw)) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, "+ ") || strings.HasPrefix(line, "- ") {
			out = append(out, line)
		}
	}
	if len(out) < 40 {
		t.Fatalf("%s holds only %d letters", path, len(out))
	}
	return out
}

func TestAutomatic(t *testing.T) {
	own := Options{OwnAddresses: []string{"print@larkfield.example"}}
	for header, want := range map[string]job.Disposition{
		"Auto-Submitted: auto-generated":                              job.Automatic,
		"Auto-Submitted: Auto-Replied; owner-email=\"x@example.org\"": job.Automatic, // RFC 5436
		"Auto-Submitted: no":                                          job.Request,
		"Auto-Submitted: NO (a person)":                               job.Request,
		"Return-Path: <>":                                             job.Automatic,
		"Return-Path: <pat@example.org>":                              job.Request,
		"Return-Path: <pat@example.org>\r\nReturn-Path: <>":           job.Request, // only the topmost is our server's
		"Precedence: bulk":                                            job.Automatic,
		"Precedence: LIST":                                            job.Automatic,
		"Precedence: junk":                                            job.Automatic,
		"Precedence: first-class":                                     job.Request,
		"List-Unsubscribe: <mailto:a@example.org>":                    job.Automatic,
		"List-Id: <print.larkfield.example>":                          job.Request,
		"List-Post: <mailto:print@larkfield.example>\r\nList-Id: <other.example>": job.Request,
		"X-Auto-Response-Suppress: All":                                           job.Request,
		"X-Autoreply: yes":                                                        job.Automatic,
		"X-Autoreply: no":                                                         job.Request,
		"X-Priority: 1":                                                           job.Request,
		"In-Reply-To: <a@example.org>":                                            job.Answer,
		"References: <a@example.org> <b@example.org>":                             job.Answer,
		"In-Reply-To: your letter of Monday":                                      job.Request,
		"Content-Type: multipart/report; report-type=disposition-notification; boundary=x": job.Automatic,
	} {
		l := read(t, header+"\r\nFrom: Pat <pat@example.org>\r\nSubject: part\r\n\r\nPlease print this cup.\r\n", own)
		if l.Disposition != want {
			t.Errorf("%s: got %s (%s), want %s", header, l.Disposition, l.Why, want)
		}
	}
}

func TestAutomaticBySender(t *testing.T) {
	own := Options{OwnAddresses: []string{"Print@Larkfield.example"}}
	for from, want := range map[string]job.Disposition{
		"MAILER-DAEMON@example.org":           job.Automatic,
		"mailer-daemon+x@example.org":         job.Automatic,
		"Pat <daemon.pat@example.org>":        job.Request,
		"no-reply@example.org":                job.Automatic,
		"ne-pas-repondre@example.org":         job.Automatic,
		"Nora Reply <nora.reply@example.org>": job.Request,
		"print@larkfield.example":             job.Automatic,
		"postmaster@example.org":              job.Request,
	} {
		l := read(t, "From: "+from+"\r\nSubject: part\r\n\r\nPlease print this cup.\r\n", own)
		if l.Disposition != want {
			t.Errorf("%s: got %s (%s), want %s", from, l.Disposition, l.Why, want)
		}
	}
	l := read(t, "From: no-reply@forms.example.org\r\nReply-To: pat@example.org\r\nSubject: part\r\n\r\nPlease print this cup.\r\n", own)
	if l.Disposition != job.Request {
		t.Errorf("a form that names who is to be answered: got %s", l.Disposition)
	}
}

func TestAwayNotices(t *testing.T) {
	const person, machine = job.Enquiry, job.Automatic
	for _, c := range []struct {
		subject, header, text string
		want                  job.Disposition
	}{
		{"Out of office: your print", "X-Auto-Response-Suppress: All", "Back on Monday.", machine},
		{"Automatic reply: your print", "X-Auto-Response-Suppress: All", "Back on Monday.", machine},
		{"Réponse automatique : votre impression", "X-Auto-Response-Suppress: OOF", "De retour lundi.", machine},
		{"Respuesta automática: su impresión", "", "Estoy fuera de la oficina hasta el lunes.", machine},
		{"Absence du bureau", "", "Je suis actuellement en congé jusqu'à lundi.", machine},
		{"Out of office", "", "I will be away until Monday.", machine},
		{"Out of office sign", "X-Auto-Response-Suppress: All", "What colours are there?", person},
		{"Pickup", "X-Auto-Response-Suppress: All", "I am away until Monday, is Tuesday fine?", person},
		{"Absent-minded question", "", "What colours are there?", person},
	} {
		header := c.header
		if header != "" {
			header += "\r\n"
		}
		l := read(t, fmt.Sprintf("%sFrom: Pat <pat@example.org>\r\nSubject: %s\r\n\r\n%s\r\n", header, c.subject, c.text), Options{})
		if l.Disposition != c.want {
			t.Errorf("%s / %s: got %s, want %s", c.subject, c.header, l.Disposition, c.want)
		}
	}
}
