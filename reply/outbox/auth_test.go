package outbox_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/reply/outbox"
)

func TestServerThatKnowsOnlyLogin(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Accept, mailtest.Login())
	if out := send(t, k, config(k, "none"), message(reply("x\r\n"))); out.State != outbox.Sent || k.Delivered()[0].User != k.User {
		t.Fatalf("%+v", out)
	}
	out := outbox.Send(t.Context(), config(k, "none"), mailtest.Password(t, k.User, "wrong"), message(reply("x\r\n")), quiet)
	if out.State != outbox.Later || out.Code != 535 {
		t.Fatalf("%+v", out)
	}
}

// A token that was withdrawn is refused in the order of the mechanism, and
// not offered again.
func TestSendingWithTokens(t *testing.T) {
	for _, mech := range []string{"OAUTHBEARER", "XOAUTH2"} {
		t.Run(mech, func(t *testing.T) {
			issued := 0
			tokens := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				issued++
				w.Header().Set("Content-Type", "application/json")
				fmt.Fprintf(w, `{"access_token":"token-%d","token_type":"Bearer","expires_in":3600}`, issued)
			}))
			t.Cleanup(tokens.Close)
			k := mailtest.SMTP(t, mailtest.Accept, mailtest.Tokens(mech, func() string { return "token-2" }))
			secret := filepath.Join(t.TempDir(), "secret")
			if err := os.WriteFile(secret, []byte("app secret\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			src, err := credential.New(credential.Config{Kind: "oauth-client", User: k.User, TokenURL: tokens.URL, ClientID: "app", ClientSecretFile: secret},
				func(string) string { return "" }, quiet)
			if err != nil {
				t.Fatal(err)
			}
			out := outbox.Send(t.Context(), config(k, "none"), src, message(reply("x\r\n")), quiet)
			if out.State != outbox.Later || !strings.Contains(sentence(out), "does not let us in with the token of print@larkfield.example") || strings.Contains(sentence(out), "token-1") {
				t.Fatalf("%+v", out)
			}
			for range 2 {
				if out := outbox.Send(t.Context(), config(k, "none"), src, message(reply("x\r\n")), quiet); out.State != outbox.Sent {
					t.Fatalf("%+v", out)
				}
			}
			if issued != 2 || len(k.Delivered()) != 2 || k.Delivered()[1].User != k.User {
				t.Fatalf("%d tokens, %d messages", issued, len(k.Delivered()))
			}
			if out := send(t, k, config(k, "none"), message(reply("x\r\n"))); out.State != outbox.Later || !strings.Contains(sentence(out), "no longer takes passwords") {
				t.Fatalf("%+v", out)
			}
		})
	}
}
