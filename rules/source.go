package rules

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"meshclerk/intake/job"
)

// source is one rule file as it was read, with the place of every key in it.
type source struct {
	name string // "printing.toml"
	path string // as a person would find it: the folder's path, or "built-in printing.toml"
	data []byte
	keys map[string]place // "printer[0].speed.travel" -> where its value stands
}

// place is a span of bytes in a file.
type place struct{ offset, length int }

// index notes where each key of the file stands. A file with a syntax error is
// indexed up to the error; the decoder tells of it.
func (s *source) index() {
	s.keys = map[string]place{}
	tables := map[string]int{} // array of tables -> how many were seen
	p := unstable.Parser{}
	p.Reset(s.data)
	prefix := ""
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table:
			path, at := keyPath("", e.Key(), tables)
			prefix = path
			s.keys[prefix] = at
		case unstable.ArrayTable:
			path, at := keyPath("", e.Key(), nil)
			path = withIndexes(path, tables)
			prefix = fmt.Sprintf("%s[%d]", path, tables[path])
			tables[path]++
			s.keys[prefix] = at
			if _, ok := s.keys[path]; !ok {
				s.keys[path] = at
			}
		case unstable.KeyValue:
			s.value(prefix, e, tables)
		}
	}
}

// value notes one key and what is inside its value.
func (s *source) value(prefix string, kv *unstable.Node, tables map[string]int) {
	path, at := keyPath(prefix, kv.Key(), tables)
	s.inside(path, kv.Value(), at)
}

// inside notes the place of a value; a value without one of its own takes its key's.
func (s *source) inside(path string, v *unstable.Node, key place) {
	at := key
	if v.Raw.Length > 0 && v.Kind != unstable.Array && v.Kind != unstable.InlineTable {
		at = place{int(v.Raw.Offset), int(v.Raw.Length)}
	}
	s.keys[path] = at
	it := v.Children()
	for i := 0; it.Next(); {
		n := it.Node()
		switch {
		case n.Kind == unstable.Comment:
			continue
		case v.Kind == unstable.InlineTable && n.Kind == unstable.KeyValue:
			s.value(path, n, nil)
		case v.Kind == unstable.Array:
			s.inside(fmt.Sprintf("%s[%d]", path, i), n, at)
		}
		i++
	}
}

// keyPath joins a dotted key to its prefix; tables gives the open element of
// each array of tables on the way.
func keyPath(prefix string, key unstable.Iterator, tables map[string]int) (string, place) {
	path, at := prefix, place{}
	for key.Next() {
		n := key.Node()
		if path != "" {
			path += "."
		}
		path += string(n.Data)
		if seen := tables[path]; seen > 0 && prefix == "" && !key.IsLast() {
			path = fmt.Sprintf("%s[%d]", path, seen-1)
		}
		at = place{int(n.Raw.Offset), int(n.Raw.Length)}
	}
	return path, at
}

// withIndexes gives the parents of an array of tables the index of their open element.
func withIndexes(path string, tables map[string]int) string {
	parts := strings.Split(path, ".")
	out := ""
	for i, p := range parts {
		if i > 0 {
			out += "."
		}
		out += p
		if seen := tables[out]; seen > 0 && i < len(parts)-1 {
			out = fmt.Sprintf("%s[%d]", out, seen-1)
		}
	}
	return out
}

// find returns the place of a key, or of the nearest table around it.
func (s *source) find(path string) (place, bool) {
	if at, ok := s.keys[path]; ok {
		return at, true
	}
	for path != "" {
		cut := max(strings.LastIndexByte(path, '.'), strings.LastIndexByte(path, '['))
		path = path[:max(cut, 0)]
		if at, ok := s.keys[path]; ok {
			return at, false
		}
	}
	return place{}, false
}

// problem makes a Problem at a place of the file.
func (s *source) problem(at place, text, hint job.Message) Problem {
	offset := min(max(at.offset, 0), len(s.data))
	start := bytes.LastIndexByte(s.data[:offset], '\n') + 1
	end := len(s.data)
	if n := bytes.IndexByte(s.data[start:], '\n'); n >= 0 {
		end = start + n
	}
	return Problem{
		File:   s.path,
		Line:   bytes.Count(s.data[:start], []byte("\n")) + 1,
		Column: offset - start + 1,
		Width:  max(1, min(at.length, end-offset)),
		Source: strings.TrimSuffix(string(s.data[start:end]), "\r"),
		Text:   text,
		Hint:   hint,
	}
}
