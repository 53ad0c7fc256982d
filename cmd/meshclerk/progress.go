package main

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"

	"meshclerk/intake/plain"
)

// progress shows one line that is written over, on a terminal only: in a file
// or a pipe it stays silent.
type progress struct {
	w     io.Writer
	width int
	dirty bool
}

func newProgress(w io.Writer) *progress {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return &progress{}
	}
	width, _, err := term.GetSize(int(f.Fd()))
	if err != nil || width < 20 {
		width = 80
	}
	return &progress{w: w, width: width}
}

func (p *progress) say(what string) {
	if p.w == nil {
		return
	}
	fmt.Fprintf(p.w, "\r\x1b[K%s", plain.Shorten(plain.OneLine(what), p.width-1))
	p.dirty = true
}

func (p *progress) done() {
	if p.dirty {
		fmt.Fprint(p.w, "\r\x1b[K")
		p.dirty = false
	}
}
