package letter

import (
	"reflect"
	"testing"

	"meshclerk/intake/job"
)

// The fields of RFC 8601, appendix B, byte for byte.
func TestRFC8601Examples(t *testing.T) {
	type props = map[string]string
	for _, c := range []struct {
		name, field, server string
		results             []Result
	}{
		{"B.2", " example.org 1; none\r\n", "example.org", nil},
		{"B.3", " example.com;\r\n          spf=pass smtp.mailfrom=example.net\r\n", "example.com",
			[]Result{{"spf", "pass", "", props{"smtp.mailfrom": "example.net"}}}},
		{"B.4 first", " example.com;\r\n          auth=pass (cram-md5) smtp.auth=sender@example.net;\r\n          spf=pass smtp.mailfrom=example.net\r\n", "example.com",
			[]Result{{"auth", "pass", "", props{"smtp.auth": "sender@example.net"}}, {"spf", "pass", "", props{"smtp.mailfrom": "example.net"}}}},
		{"B.4 second", " example.com; iprev=pass\r\n          policy.iprev=192.0.2.200\r\n", "example.com",
			[]Result{{"iprev", "pass", "", props{"policy.iprev": "192.0.2.200"}}}},
		{"B.5 first", " example.com;\r\n          dkim=pass (good signature) header.d=example.com\r\n", "example.com",
			[]Result{{"dkim", "pass", "", props{"header.d": "example.com"}}}},
		{"B.5 second", " example.com;\r\n          auth=pass (cram-md5) smtp.auth=sender@example.com;\r\n          spf=fail smtp.mailfrom=example.com\r\n", "example.com",
			[]Result{{"auth", "pass", "", props{"smtp.auth": "sender@example.com"}}, {"spf", "fail", "", props{"smtp.mailfrom": "example.com"}}}},
		{"B.6 first", " example.com;\r\n      dkim=pass reason=\"good signature\"\r\n        header.i=@mail-router.example.net;\r\n      dkim=fail reason=\"bad signature\"\r\n        header.i=@newyork.example.com\r\n", "example.com",
			[]Result{{"dkim", "pass", "good signature", props{"header.i": "@mail-router.example.net"}}, {"dkim", "fail", "bad signature", props{"header.i": "@newyork.example.com"}}}},
		{"B.6 second", " example.net;\r\n      dkim=pass (good signature) header.i=@newyork.example.com\r\n", "example.net",
			[]Result{{"dkim", "pass", "", props{"header.i": "@newyork.example.com"}}}},
		{"B.7", " foo.example.net (foobar) 1 (baz);\r\n    dkim (Because I like it) / 1 (One yay) = (wait for it) fail\r\n      policy (A dot can go here) . (like that) expired\r\n      (this surprised me) = (as I wasn't expecting it) 1362471462\r\n", "foo.example.net",
			[]Result{{"dkim", "fail", "", props{"policy.expired": "1362471462"}}}},
	} {
		server, results, ok := ParseResults(c.field)
		if !ok || server != c.server || !reflect.DeepEqual(results, c.results) {
			t.Errorf("%s: got %v %q %+v, want %q %+v", c.name, ok, server, results, c.server, c.results)
		}
	}
}

// verdictOf reads a letter from pat@example.org that has these fields on top.
func verdictOf(t *testing.T, fields string) job.Verdict {
	t.Helper()
	return read(t, fields+"From: Pat <pat@example.org>\r\nSubject: x\r\n\r\nhello\r\n", Options{AuthservID: "mx.larkfield.example"}).Authenticated
}

func TestVerdict(t *testing.T) {
	const ours = "Authentication-Results: mx.larkfield.example; "
	for name, c := range map[string]struct {
		fields string
		want   job.Verdict
	}{
		"pass":                     {ours + "dmarc=pass header.from=example.org\r\n", job.Pass},
		"fail":                     {ours + "dmarc=fail (p=none) header.from=example.org\r\n", job.Fail},
		"none":                     {ours + "dmarc=none header.from=example.org\r\n", job.None},
		"temporary error":          {ours + "dmarc=temperror header.from=example.org\r\n", job.None},
		"no field":                 {"", job.None},
		"other methods only":       {ours + "spf=pass smtp.mailfrom=example.org; dkim=pass header.d=example.org\r\n", job.None},
		"id in capitals":           {"AUTHENTICATION-RESULTS: MX.Larkfield.Example; DMARC=PASS header.from=example.org\r\n", job.Pass},
		"id in quotes":             {"Authentication-Results: \"mx.larkfield.example\"; dmarc=pass\r\n", job.Pass},
		"id after a comment":       {"Authentication-Results: (a \\) (b)) mx.larkfield.example (c) 1; dmarc=pass\r\n", job.Pass},
		"folded":                   {"Authentication-Results:\r\n mx.larkfield.example;\r\n\tdmarc\r\n =\r\n pass\r\n header.from=example.org\r\n", job.Pass},
		"another id":               {"Authentication-Results: mx.example.net; dmarc=pass\r\n", job.None},
		"longer id":                {"Authentication-Results: mx.larkfield.example.evil.example; dmarc=pass\r\n", job.None},
		"id as a comment":          {"Authentication-Results: evil.example (mx.larkfield.example); dmarc=pass\r\n", job.None},
		"pass in a comment":        {ours + "spf=fail (x; dmarc=pass) smtp.mailfrom=example.org\r\n", job.None},
		"pass in nested comments":  {ours + "spf=fail (a (b); dmarc=pass) smtp.mailfrom=example.org\r\n", job.None},
		"pass in a quote":          {ours + "spf=fail reason=\"x; dmarc=pass\" smtp.mailfrom=example.org\r\n", job.None},
		"pass in a quoted address": {ours + "spf=fail smtp.mailfrom=\"a; dmarc=pass; \\\" b\"@example.org; dmarc=fail\r\n", job.Fail},
		"pass as a property":       {ours + "spf=fail dmarc=pass header.from=example.org\r\n", job.None},
		"comment left open":        {ours + "dmarc=pass (header.from=example.org\r\n", job.None},
		"quote left open":          {ours + "dmarc=pass reason=\"x\r\n", job.None},
		"rubbish behind":           {ours + "dmarc=pass header.from=example.org; what is this\r\n", job.None},
		"longer word":              {ours + "dmarc=passing\r\n", job.None},
		"sticking word":            {ours + "dmarc=pass.example header.from=example.org\r\n", job.None},
		"xdmarc":                   {ours + "x-dmarc=pass header.from=example.org\r\n", job.None},
		"two that differ":          {ours + "dmarc=fail; dmarc=pass\r\n", job.None},
		"unknown version":          {"Authentication-Results: mx.larkfield.example 2; dmarc=pass\r\n", job.None},
		"unknown method version":   {ours + "dmarc/2=pass\r\n", job.None},
		"method version 1":         {ours + "dmarc/1=pass\r\n", job.Pass},
		"semicolon too many":       {ours + "spf=pass;; dmarc=pass;\r\n", job.Pass},
		"base64 in a property":     {ours + "dkim=pass header.b=gfT/i2+HB= header.i=@example.org; dmarc=pass action=none header.from=example.org\r\n", job.Pass},
		"empty property":           {ours + "spf=none smtp.mailfrom= ; dmarc=pass\r\n", job.Pass},
		"comment at a property":    {ours + "spf=pass smtp.mailfrom=a@example.org(so; it said); dmarc=pass\r\n", job.Pass},
		"comment at a word":        {ours + "spf=pass(so; it said); dmarc=pass\r\n", job.Pass},
		"quote at a property":      {ours + "spf=pass smtp.mailfrom=a\"; dmarc=pass\"\r\n", job.None},
		"null sender":              {ours + "spf=none smtp.mailfrom=<>; dmarc=pass\r\n", job.Pass},
		"for another domain":       {ours + "dmarc=pass header.from=evil.example\r\n", job.None},
		"for a whole address":      {ours + "dmarc=pass header.from=pat@example.org\r\n", job.Pass},
		"fail above forged pass":   {ours + "dmarc=fail\r\n" + ours + "dmarc=pass\r\n", job.Fail},
		"in the second field":      {ours + "spf=pass smtp.mailfrom=example.org\r\n" + ours + "dmarc=pass\r\n", job.Pass},
		"below another station":    {ours + "spf=pass\r\nReceived: from a by b; Tue, 3 Nov 2026 10:00:00 -0500\r\n" + ours + "dmarc=pass\r\n", job.None},
		"broken first":             {ours + "dmarc=fail (\r\n" + ours + "dmarc=pass\r\n", job.None},
		"two senders":              {ours + "dmarc=pass\r\nFrom: Victim <v@example.net>\r\n", job.None},
	} {
		if got := verdictOf(t, c.fields); got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
	}
}

func TestNoTrustedServerNoVerdict(t *testing.T) {
	l := read(t, "Authentication-Results: ; dmarc=pass\r\nFrom: a@example.org\r\n\r\nx", Options{})
	if l.Authenticated != job.None {
		t.Errorf("got %s with no trusted server named", l.Authenticated)
	}
}
