package letter

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
	"sync"
	"testing"

	"meshclerk/intake/job"
)

// longHeaders are letters with n bytes of header, or of text, that are made to cost as
// much as can be.
func longHeaders() map[string]func(n int) string {
	fill := func(start, piece, end string) func(int) string {
		return func(n int) string {
			return "Date: Mon, 02 Nov 2026 10:00:00 +0000\r\n" + start + strings.Repeat(piece, max(1, (n-len(start))/len(piece))) + end + "\r\nMessage-ID: <1@example.org>\r\n\r\nPlease print this.\r\n"
		}
	}
	body := func(kind, start, piece, end string) func(int) string {
		return func(n int) string {
			return "From: a@example.org\r\nContent-Type: " + kind + "\r\n\r\n" + start + strings.Repeat(piece, max(1, (n-len(start))/len(piece))) + end
		}
	}
	out := map[string]func(int) string{}
	for _, field := range []string{"From", "To", "Subject", "References", "Content-Type", "Content-Disposition", "Authentication-Results", "X-Unknown"} {
		f := field + ": "
		if field == "Authentication-Results" {
			f += "mx.larkfield.example; "
		}
		out[field+", folded"] = fill(f+"x", "\r\n\t", "x")
		out[field+", folded words"] = fill(f+"x", "\r\n a", "")
		out[field+", quotes"] = fill(f, `"`, "")
		out[field+", escaped quotes"] = fill(f, `\"`, "")
		out[field+", one open quote"] = fill(f+`"`, `\"`, "")
		out[field+", comments"] = fill(f, `(`, "")
		out[field+", closed comments"] = fill(f, `(a)`, "")
		out[field+", encoded words"] = fill(f, "=?utf-8?q?a?= ", "")
		out[field+", begun words"] = fill(f, "=?", "")
		out[field+", begun words of text"] = fill(f, "=?a?q?", "")
		out[field+", addresses"] = fill(f, "a@b.c,", "")
		out[field+", broken addresses"] = fill(f, "a b@c d,", "")
		out[field+", angles"] = fill(f, "<", "")
		out[field+", ids"] = fill(f, "<a@b>", "")
		out[field+", semicolons"] = fill(f, ";", "")
		out[field+", parameters"] = fill(f, ";a*0=b", "")
		out[field+", percents"] = fill(f, "%41", "")
		out[field+", groups"] = fill(f, "a:;,", "")
		out[field+", at signs"] = fill(f, "@", "")
		out[field+", dots"] = fill(f, "a.", "")
		out[field+", 8 bit"] = fill(f, "\xe9", "")
	}
	out["fields"] = fill("X: y", "\r\nX: y", "")
	out["fields of other names"] = func(n int) string {
		var b strings.Builder
		for i := 0; b.Len() < n; i++ {
			fmt.Fprintf(&b, "X-%d: y\r\n", i)
		}
		return b.String() + "From: a@example.org\r\n\r\nx"
	}
	out["stray lines"] = fill("From: a@example.org", "\r\nno colon here", "\r\nX: y")
	out["wrapped without indenting"] = fill(`X: "a`, "\r\n=?a", "\r\nX: y")
	out["folded stray lines"] = fill("From: a@example.org\r\nno colon", "\r\n a", "\r\nX: y")
	out["empty lines first"] = func(n int) string { return strings.Repeat("\r\n", n/2) + "From: a@example.org\r\n\r\nx" }
	out["zero bytes"] = fill("Subject: ", "\x00", "")
	for name, piece := range map[string]string{"lines": "a\r\n", "quoted": "> a\r\nb\r\n", "colons": "a:\r\n\r\n", "wrote": "On 2026 a@b wrote:\r\n\r\n", "dashes": "--\r\n", "signatures": "-- \r\n", "headers": "From: a@b.c\r\n",
		"boundaries": "--x\r\n", "spaces": " ", "angles": "<a@b> ", "links": "http://a.b ", "forwarded": "---------- Forwarded message ---------\r\nFrom: a@b\r\n", "separators": "________________________________\r\n", "rules": "-----Original Message-----\r\n", "blanks": "\r\n", "stars": "*"} {
		out["text, "+name] = body("text/plain", "", piece, "")
	}
	for name, piece := range map[string]string{"links": "<a href=http://x>y</a>", "open links": "<a href=http://x>", "quotes": "<blockquote type=cite>a", "lists": "<ol><li>a", "hidden": "<p style=display:none>", "breaks": "<br>", "cells": "<td>", "attributes": " a=b", "begun": "<", "entities": "&amp", "comments": "<!--", "pre": "<pre> \n"} {
		out["html, "+name] = body("text/html", "<p ", piece, "")
		out["html text, "+name] = body("text/html", "<p>", piece, "")
	}
	out["multipart, boundaries"] = body("multipart/mixed; boundary=x", "", "--x\r\n", "")
	out["multipart, no boundary"] = body("multipart/mixed", "", "--x\r\n", "")
	out["multipart, preamble"] = body("multipart/mixed; boundary=x", "", "--y\r\n", "")
	return out
}

var longHouse = sync.OnceValue(func() Options { return house("") })

func readLong(raw string) (*job.Letter, error) {
	return Read(context.Background(), strings.NewReader(raw), longHouse())
}

// BenchmarkLong shows what a byte costs in a short and in a long letter: ns/B that
// grows with the size would be a place that is not linear.
func BenchmarkLong(b *testing.B) {
	for name, made := range longHeaders() {
		for _, n := range []int{16 << 10, 64 << 10, 256 << 10} {
			raw := made(n)
			b.Run(fmt.Sprintf("%s/%dK", name, n>>10), func(b *testing.B) {
				b.SetBytes(int64(len(raw)))
				for b.Loop() {
					if _, err := readLong(raw); err != nil && err != ErrNotMail {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(raw)), "ns/B")
			})
		}
	}
}

// TestLongIsLinear: four times the letter takes nowhere near sixteen times the memory,
// counted in bytes allocated, whatever it is made of. Time is shown by BenchmarkLong.
func TestLongIsLinear(t *testing.T) {
	for name, made := range longHeaders() {
		short, long := allocatedBy(made(8<<10)), allocatedBy(made(32<<10))
		if long > 8*short+2<<20 { // the square would be sixteen times
			t.Errorf("%s: 8 KB take %d KB, 32 KB take %d KB", name, short>>10, long>>10)
		}
	}
}

// allocatedBy is what reading a letter allocates, in bytes, once regular expressions
// have what memory they keep. Without a collection of garbage they do keep it.
func allocatedBy(raw string) uint64 {
	runtime.GC()
	defer debug.SetGCPercent(debug.SetGCPercent(-1))
	_, _ = readLong(raw)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, _ = readLong(raw)
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// TestClosers: what is worked out once for a whole field says of each place what
// looking ahead from there would say.
func TestClosers(t *testing.T) {
	ahead := func(rest string) bool {
		for i := 0; i < len(rest); i++ {
			if rest[i] == '\\' {
				i++
			} else if rest[i] == '"' {
				return true
			}
		}
		return false
	}
	for n := range 1 << 12 { // every word of six letters of four
		var b bytes.Buffer
		for k := n; b.Len() < 6; k /= 4 {
			b.WriteByte(`a"\;`[k%4])
		}
		s := b.String()
		c := closers(s)
		for i := range s {
			if got, want := c.after(i), ahead(s[i+1:]); got != want {
				t.Fatalf("%q after %d: %v, want %v", s, i, got, want)
			}
		}
	}
}
