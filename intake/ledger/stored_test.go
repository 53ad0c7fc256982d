package ledger

import (
	"bytes"
	"encoding/json"
	stdflag "flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"meshclerk/intake/job"
)

var newForms = stdflag.Bool("update-stored", false, "write the stored forms anew: only where a field was added")

// The json tags of package job are the form in which the ledger keeps things. What is
// kept must stay readable, so a form that changes is noticed here: a field may be added
// (run with -update-stored), none may be renamed, dropped or take another shape. What
// scripts read is another form (cmd/meshclerk, public…).
func TestStoredForms(t *testing.T) {
	for name, fresh := range map[string]func() any{
		"job": func() any { return new(job.Job) }, "letter": func() any { return new(job.Letter) },
		"terms": func() any { return new(job.Terms) }, "settings": func() any { return new(job.Settings) },
	} {
		path := filepath.Join("testdata", "stored", name+".json")
		v := fresh()
		fillIn(reflect.ValueOf(v).Elem(), name, 0)
		is, err := json.MarshalIndent(v, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if *newForms {
			if err := os.WriteFile(path, append(is, '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		was, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(bytes.TrimSpace(was), is) {
			t.Errorf("a stored %s has another form now; where a field was only added, run with -update-stored", name)
		}
		back := fresh()
		if err := json.Unmarshal(was, back); err != nil {
			t.Fatalf("a stored %s cannot be read back: %v", name, err)
		}
		again, err := json.MarshalIndent(back, "", " ")
		if err != nil || !bytes.Equal(again, bytes.TrimSpace(was)) {
			t.Errorf("a stored %s loses something when it is read: %v\n%s", name, err, again)
		}
	}
}

// fillIn gives every field a value of its own.
func fillIn(v reflect.Value, name string, deep int) {
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)))
		return
	case job.Message:
		v.Set(reflect.ValueOf(job.Say("history.checked", job.Args{"letter": name})))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(name)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(len(name)))
	case reflect.Float64:
		v.SetFloat(float64(len(name)) + 0.5)
	case reflect.Pointer:
		if deep < 9 {
			v.Set(reflect.New(v.Type().Elem()))
			fillIn(v.Elem(), name, deep+1)
		}
	case reflect.Slice:
		if deep < 9 {
			v.Set(reflect.MakeSlice(v.Type(), 1, 1))
			fillIn(v.Index(0), name, deep+1)
		}
	case reflect.Array:
		for i := range v.Len() {
			fillIn(v.Index(i), fmt.Sprint(name, i), deep+1)
		}
	case reflect.Map:
		m := reflect.MakeMap(v.Type())
		e := reflect.New(v.Type().Elem()).Elem()
		fillIn(e, name, deep+1)
		m.SetMapIndex(reflect.ValueOf("key"), e)
		v.Set(m)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fillIn(v.Field(i), v.Type().Field(i).Name, deep+1)
			}
		}
	}
}
