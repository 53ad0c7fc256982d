package rules

import (
	"iter"
	"reflect"
	"strings"
)

// field is a key that a table of a rule file may have.
type field struct {
	name     string
	typ      reflect.Type
	optional bool // tagged `rule:"optional"`: may be left out
}

// fields yields the keys of a struct.
func fields(t reflect.Type) iter.Seq[field] {
	return func(yield func(field) bool) {
		for f := range structFields(t) {
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

func structFields(t reflect.Type) iter.Seq[reflect.StructField] {
	return func(yield func(reflect.StructField) bool) {
		if t == nil || t.Kind() != reflect.Struct {
			return
		}
		for i := range t.NumField() {
			if !yield(t.Field(i)) {
				return
			}
		}
	}
}

// typeAt follows a key from a type and gives the type there, or nil where any
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

// plain turns the decoder's words into those of a person who edits a file.
func plain(text string) string {
	for from, to := range map[string]string{
		"cannot decode TOML string into":  "this is text, but it should be",
		"cannot decode TOML integer into": "this is a whole number, but it should be",
		"cannot decode TOML float into":   "this is a number, but it should be",
		"cannot decode TOML bool into":    "this is true or false, but it should be",
		"cannot decode TOML array into":   "this is a list, but it should be",
	} {
		text = strings.Replace(text, from, to, 1)
	}
	return text
}
