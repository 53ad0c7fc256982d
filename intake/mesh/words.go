package mesh

import (
	"bytes"
	"context"
	"fmt"
	"io"
)

// words splits a text at blanks, in bounded memory: of a word longer than any
// that could mean something only the beginning is kept.
type words struct {
	ctx  context.Context
	r    io.Reader
	buf  []byte
	pos  int
	end  int
	line int // being read
	at   int // of the last word
	long [wordBytes]byte
	cr   bool // the last byte was a carriage return
	bom  bool // the start was looked at
}

const wordBytes = 128

// next returns the next word, valid until the following call.
func (w *words) next() ([]byte, error) {
	for {
		if w.pos == w.end {
			if err := w.fill(); err != nil {
				return nil, err
			}
		}
		c := w.buf[w.pos]
		if c > ' ' {
			break
		}
		w.pos++
		if c == '\r' || c == '\n' && !w.cr {
			w.line++
		}
		w.cr = c == '\r'
	}
	w.cr = false
	w.at = w.line
	start := w.pos
	for w.pos++; w.pos < w.end; w.pos++ {
		if w.buf[w.pos] <= ' ' {
			return w.buf[start:w.pos], nil
		}
	}
	return w.rest(w.buf[start:w.end])
}

// rest collects a word that the end of the buffer cut.
func (w *words) rest(start []byte) ([]byte, error) {
	n := copy(w.long[:], start)
	for {
		if err := w.fill(); err == io.EOF {
			return w.long[:n], nil
		} else if err != nil {
			return nil, err
		}
		for ; w.pos < w.end; w.pos++ {
			if w.buf[w.pos] <= ' ' {
				return w.long[:n], nil
			}
			if n < len(w.long) {
				w.long[n] = w.buf[w.pos]
				n++
			}
		}
	}
}

func (w *words) fill() error {
	if err := w.ctx.Err(); err != nil {
		return err
	}
	w.pos, w.end = 0, 0
	for tries := 0; w.end == 0; tries++ {
		n, err := w.r.Read(w.buf)
		w.end = n
		if n == 0 && err == io.EOF {
			return io.EOF
		}
		if n == 0 && (err != nil || tries > 100) {
			return fmt.Errorf("the file cannot be read: %w", err)
		}
	}
	if !w.bom {
		w.bom = true
		if bytes.HasPrefix(w.buf[:w.end], []byte("\xef\xbb\xbf")) {
			w.pos = 3
		}
	}
	return nil
}

// followedBy reports whether the next word is the given one, as far as the buffer
// shows.
func (w *words) followedBy(word string) bool {
	rest := bytes.TrimLeft(w.buf[w.pos:w.end], " \t\r\n\f\v")
	return len(rest) >= len(word) && is(rest[:len(word)], word)
}

// is compares a word with a keyword in lower case.
func is(w []byte, keyword string) bool {
	if len(w) != len(keyword) {
		return false
	}
	for i, c := range w {
		if c|0x20 != keyword[i] {
			return false
		}
	}
	return true
}
