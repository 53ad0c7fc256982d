package rules

import (
	"iter"
	"reflect"
	"strings"

	"meshclerk/intake/job"
)

// field is a key that a table of a rule file may have.
type field struct {
	name     string
	typ      reflect.Type
	optional bool // tagged `rule:"optional"`: may be left out
}

// fields yields the keys of a struct; other types have none.
func fields(t reflect.Type) iter.Seq[field] {
	return func(yield func(field) bool) {
		if t == nil || t.Kind() != reflect.Struct {
			return
		}
		for i := range t.NumField() {
			f := t.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
			if name == "" || name == "-" {
				continue
			}
			if !yield(field{name, f.Type, f.Tag.Get("rule") == "optional"}) {
				return
			}
		}
	}
}

// typeAt follows a key from a type and returns the type there, or nil where any
// key is allowed.
func typeAt(t reflect.Type, key []string) reflect.Type {
	t = element(t)
	for _, k := range key {
		switch {
		case t == nil:
			return nil
		case t.Kind() == reflect.Map:
			t = element(t.Elem())
		default:
			t = fieldType(t, k)
		}
	}
	return t
}

func fieldType(t reflect.Type, key string) reflect.Type {
	for f := range fields(t) {
		if f.name == key {
			return element(f.typ)
		}
	}
	return nil
}

// element goes through pointers and slices to what they hold.
func element(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	return t
}

func keysOf(t reflect.Type) []string {
	var names []string
	for f := range fields(t) {
		names = append(names, f.name)
	}
	return names
}

// kindWord returns what a value must look like, to a person who edits a file.
func kindWord(t reflect.Type) job.Message {
	switch t.Kind() {
	case reflect.String:
		return job.Say("rules.kind.text", nil)
	case reflect.Bool:
		return job.Say("rules.kind.truth", nil)
	case reflect.Int, reflect.Int64:
		return job.Say("rules.kind.whole", nil)
	case reflect.Float64:
		return job.Say("rules.kind.number", nil)
	case reflect.Array:
		return job.Say("rules.kind.list", job.Args{"length": t.Len()})
	default:
		return job.Say("rules.kind.table", nil)
	}
}
