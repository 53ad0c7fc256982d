package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	stdlog "log"
	"log/slog"
	"math/big"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// writeCert makes a certificate for page.larkfield.example in dir, good from and until, and gives its files.
func writeCert(t *testing.T, dir, name string, from, until time.Time) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := x509.Certificate{SerialNumber: big.NewInt(until.Unix()), Subject: pkix.Name{CommonName: "page"}, NotBefore: from, NotAfter: until,
		DNSNames: []string{"page.larkfield.example", "localhost"}, KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, &template, &template, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, name+"-cert.pem"), filepath.Join(dir, name+"-key.pem")
	for path, b := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// A certificate that cannot serve stops the start with a sentence that names the
// file, and the doctor says the same; the service must not say that it listens.
func TestWrongCertificateStopsTheStart(t *testing.T) {
	p := newPlace(t)
	dir := filepath.Dir(p.config)
	now := time.Now()
	good, goodKey := writeCert(t, dir, "good", now.Add(-time.Hour), now.Add(90*24*time.Hour))
	_, otherKey := writeCert(t, dir, "other", now.Add(-time.Hour), now.Add(90*24*time.Hour))
	old, oldKey := writeCert(t, dir, "old", now.Add(-48*time.Hour), now.Add(-24*time.Hour))
	early, earlyKey := writeCert(t, dir, "early", now.Add(24*time.Hour), now.Add(48*time.Hour))
	p.write(filepath.Join(dir, "words.pem"), "this is no certificate\n")
	base, err := os.ReadFile(p.config)
	if err != nil {
		t.Fatal(err)
	}
	cases := map[string]struct{ cert, key, want string }{
		"no file":      {"nowhere.pem", goodKey, "nowhere.pem cannot be read"},
		"no key file":  {good, "nowhere.pem", "nowhere.pem cannot be read"},
		"no words":     {"words.pem", goodKey, "words.pem holds no certificate"},
		"no key":       {good, "words.pem", "words.pem holds no private key"},
		"wrong key":    {good, otherKey, "does not belong to the certificate"},
		"expired":      {old, oldKey, "expired on"},
		"not yet good": {early, earlyKey, "is good only from"},
		"only one":     {good, "", "needs both cert_file and key_file"},
	}
	if os.Getuid() != 0 { // root reads everything
		shut, shutKey := writeCert(t, dir, "shut", now.Add(-time.Hour), now.Add(time.Hour))
		if err := os.Chmod(shutKey, 0); err != nil {
			t.Fatal(err)
		}
		cases["shut"] = struct{ cert, key, want string }{shut, shutKey, "shut-key.pem cannot be read"}
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			page := "[staff_page]\ncert_file = \"" + c.cert + "\"\n"
			if c.key != "" {
				page += "key_file = \"" + c.key + "\"\n"
			}
			p.write(p.config, string(base)+page)
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second) // where nothing stops the start, this does
			defer cancel()
			out, err := p.do(ctx, "run")
			if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(out, "listening") {
				t.Errorf("run: %v\n%s", err, out)
			}
			out, err = p.do(t.Context(), "doctor")
			if err == nil || !strings.Contains(out, "MEND  staff page") || !strings.Contains(out, c.want) {
				t.Errorf("doctor: %v\n%s", err, out)
			}
		})
	}
	p.write(p.config, string(base)+"[staff_page]\ncert_file = \"good-cert.pem\"\nkey_file = \"good-key.pem\"\n")
	if out := p.must("doctor"); !strings.Contains(out, "ok    staff page") || !strings.Contains(out, "all is well") {
		t.Errorf("a good one:\n%s", out)
	}
	soon, soonKey := writeCert(t, dir, "soon", now.Add(-time.Hour), now.Add(3*24*time.Hour))
	p.write(p.config, string(base)+"[staff_page]\ncert_file = \""+soon+"\"\nkey_file = \""+soonKey+"\"\n")
	if out := p.must("doctor"); !strings.Contains(out, "look  staff page") || !strings.Contains(out, "expires on") {
		t.Errorf("one that ends soon:\n%s", out)
	}
}

// A renewed certificate is served without a restart, and a broken one does not
// take the place of a good one.
func TestRenewedCertificateIsServed(t *testing.T) {
	dir := t.TempDir()
	now := time.Now()
	cert, key := writeCert(t, dir, "page", now.Add(-time.Hour), now.Add(time.Hour))
	c, err := loadCertificate(cert, key, now)
	if err != nil {
		t.Fatal(err)
	}
	var said safeBuffer
	c.log = slog.New(slog.NewTextHandler(&said, nil))
	ends := func() time.Time {
		got, err := c.get(nil)
		if err != nil {
			t.Fatal(err)
		}
		return got.Leaf.NotAfter
	}
	first := ends()
	writeCert(t, dir, "page", now.Add(-time.Hour), now.Add(9*time.Hour))
	c.checked = time.Time{} // a minute has gone by
	if !ends().After(first) {
		t.Error("the renewed one is not served")
	}
	renewed := ends()
	if err := os.WriteFile(key, []byte("half a fi"), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		c.checked = time.Time{}
		if !ends().Equal(renewed) {
			t.Error("a broken one took its place")
		}
	}
	if log := said.String(); strings.Count(log, "renewed certificate taken over") != 1 || strings.Count(log, "renewed certificate not taken over") != 1 {
		t.Errorf("told:\n%s", log)
	}
}

// What serves the page is the certificate that was loaded, and a page that stops
// answering ends the service instead of leaving a robot without a page.
func TestPageIsServedWithItsCertificate(t *testing.T) {
	p := newPlace(t)
	dir := filepath.Dir(p.config)
	writeCert(t, dir, "page", time.Now().Add(-time.Hour), time.Now().Add(time.Hour))
	base, err := os.ReadFile(p.config)
	if err != nil {
		t.Fatal(err)
	}
	p.write(p.config, string(base)+"[staff_page]\ncert_file = \"page-cert.pem\"\nkey_file = \"page-key.pem\"\n")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { _, err := p.do(ctx, "run"); ended <- err }()
	pool := x509.NewCertPool()
	b, err := os.ReadFile(filepath.Join(dir, "page-cert.pem"))
	if err != nil || !pool.AppendCertsFromPEM(b) {
		t.Fatal(err)
	}
	client := http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, ServerName: "page.larkfield.example"}, DisableKeepAlives: true}}
	until(t, "a good poll over TLS", func() bool {
		resp, err := client.Get("https://" + p.listen + "/health")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK && resp.TLS != nil
	})
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// Secret files that others may read are told of at the start and by the doctor.
func TestOpenSecretFilesAreTold(t *testing.T) {
	p := newPlace(t)
	secret := filepath.Join(filepath.Dir(p.config), "imap-password")
	if err := os.Chmod(secret, 0o644); err != nil {
		t.Fatal(err)
	}
	want := "imap-password may be read by others (mode 0644)"
	out, err := p.do(t.Context(), "doctor")
	if err != nil || !strings.Contains(out, "look  secrets") || !strings.Contains(out, want) {
		t.Errorf("doctor: %v\n%s", err, out)
	}
	ctx, stop := context.WithCancel(t.Context())
	var said safeBuffer
	ended := make(chan error, 1)
	go func() {
		var out safeBuffer
		ended <- run(ctx, []string{"run"}, p.getenv, nil, &out, &said)
	}()
	until(t, "a good poll", p.healthy)
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if !strings.Contains(said.String(), want) {
		t.Errorf("run says nothing of it:\n%s", said.String())
	}
	if err := os.Chmod(secret, 0o600); err != nil {
		t.Fatal(err)
	}
	if out := p.must("doctor"); strings.Contains(out, "look  secrets") {
		t.Errorf("a closed one:\n%s", out)
	}
}

// The web server's own troubles are told, but not the handshakes that strangers break off.
func TestWebLog(t *testing.T) {
	var said safeBuffer
	w := stdlog.New(webLog{slog.New(slog.NewTextHandler(&said, nil))}, "", 0)
	for range 100 {
		w.Print("http: TLS handshake error from 192.0.2.1:4711: EOF")
	}
	w.Print("http: panic serving 192.0.2.1:4711: oh")
	if log := said.String(); strings.Count(log, "\n") != 1 || !strings.Contains(log, "panic serving") {
		t.Error(log)
	}
}
