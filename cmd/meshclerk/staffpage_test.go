package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/reply/desk"
)

const pageSecret = "blue-kettle-orchard-seven-lanterns"

// What is said of the page in the configuration is tried by the doctor, and stops
// the start with the same sentence where it cannot hold.
func TestPageConfiguration(t *testing.T) {
	p := newPlace(t)
	dir := filepath.Dir(p.config)
	base, err := os.ReadFile(p.config)
	if err != nil {
		t.Fatal(err)
	}
	hash, err := desk.HashPassword("five green lamps on a shelf")
	if err != nil {
		t.Fatal(err)
	}
	p.write(filepath.Join(dir, "accounts.toml"), fmt.Sprintf("[[account]]\nsign_in = \"marisol\"\nname = \"Marisol Teague\"\nrole = \"admin\"\npassword = %q\n", hash))
	p.write(filepath.Join(dir, "page-secret"), pageSecret+"\n")
	p.write(filepath.Join(dir, "short"), "short\n")
	const proxied = "proxy_from = [\"127.0.0.1\"]\nproxy_secret_file = \"page-secret\"\n"
	for name, c := range map[string]struct{ page, want string }{
		"accounts alone":    {"accounts = \"accounts.toml\"\n", "look  staff page     it answers only to localhost"},
		"with a name":       {"accounts = \"accounts.toml\"\nhosts = [\"print.larkfield.example\"]\n", "ok    staff page     it answers to print.larkfield.example and to localhost"},
		"proxy, no client":  {"accounts = \"accounts.toml\"\nhosts = [\"print.larkfield.example\"]\n" + proxied, "look  staff page     no client_header is set"},
		"proxy signs in":    {"proxy_header = \"X-Remote-Name\"\nhosts = [\"print.larkfield.example\"]\n" + proxied, "ok    staff page"},
		"no accounts":       {"accounts = \"nowhere.toml\"\n", "MEND  staff page     the accounts file cannot be read"},
		"no secret":         {"proxy_header = \"X-Remote-Name\"\nproxy_from = [\"127.0.0.1\"]\n", "MEND  staff page     [staff_page] a proxy is to be believed without a secret"},
		"no address":        {"proxy_header = \"X-Remote-Name\"\nproxy_secret_file = \"page-secret\"\n", "MEND  staff page     [staff_page] a proxy is to be believed, but not from which address"},
		"short secret":      {"proxy_header = \"X-Remote-Name\"\nproxy_from = [\"127.0.0.1\"]\nproxy_secret_file = \"short\"\n", "the proxy's secret has 5 characters"},
		"missing secret":    {"proxy_header = \"X-Remote-Name\"\nproxy_from = [\"127.0.0.1\"]\nproxy_secret_file = \"gone\"\n", "MEND  staff page     the secret file"},
		"client unproven":   {"accounts = \"accounts.toml\"\nclient_header = \"Forwarded\"\n", "but not from which address"},
		"a host with https": {"accounts = \"accounts.toml\"\nhosts = [\"https://print.larkfield.example\"]\n", "write only the name"},
	} {
		t.Run(name, func(t *testing.T) {
			p.write(p.config, string(base)+"[staff_page]\n"+c.page)
			out, err := p.do(t.Context(), "doctor")
			if wrong := !strings.Contains(c.want, "look") && !strings.Contains(c.want, "ok "); wrong != (err != nil) || !strings.Contains(out, c.want) {
				t.Errorf("doctor: %v\n%s", err, out)
			}
			if strings.Contains(out, pageSecret) {
				t.Error("the secret is told")
			}
			if err == nil {
				return
			}
			_, sentence, _ := strings.Cut(c.want, "staff page     ")
			if sentence == "" {
				sentence = c.want
			}
			if out, err := p.do(t.Context(), "run"); err == nil || !strings.Contains(err.Error(), sentence) || strings.Contains(out, "listening") {
				t.Errorf("run: %v\n%s", err, out)
			}
		})
	}
	if err := os.Chmod(filepath.Join(dir, "page-secret"), 0o640); err != nil {
		t.Fatal(err)
	}
	p.write(p.config, string(base)+"[staff_page]\nproxy_header = \"X-Remote-Name\"\n"+proxied)
	if out := p.must("doctor"); !strings.Contains(out, "page-secret may be read by others") {
		t.Errorf("an open secret file:\n%s", out)
	}
}

// The sample configuration is understood as it stands, and with each of its
// commented keys of the page switched on.
func TestSamplePageConfiguration(t *testing.T) {
	sample := filepath.Join("..", "..", "deploy", "meshclerk.toml")
	if _, err := loadConfig(sample); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(sample)
	if err != nil {
		t.Fatal(err)
	}
	before, page, ok := strings.Cut(string(raw), "[staff_page]\n")
	if !ok {
		t.Fatal("no [staff_page]")
	}
	on := strings.NewReplacer("# hosts", "hosts", "# proxy_", "proxy_", "# client_", "client_", "# admins", "admins", "# cert_", "cert_", "# key_", "key_", "# behind_", "behind_").Replace(page)
	path := filepath.Join(t.TempDir(), "meshclerk.toml")
	if err := os.WriteFile(path, []byte(before+"[staff_page]\n"+on), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	s := c.StaffPage
	for key, set := range map[string]bool{"hosts": len(s.Hosts) > 0, "proxy_from": len(s.ProxyFrom) > 0, "proxy_secret_file": s.ProxySecretFile != "", "client_header": s.ClientHeader != "",
		"proxy_header": s.ProxyHeader != "", "admins": len(s.Admins) > 0, "cert_file": s.CertFile != "", "key_file": s.KeyFile != "", "behind_tls": s.BehindTLS} {
		if !set {
			t.Errorf("the sample does not explain %s", key)
		}
	}
}
