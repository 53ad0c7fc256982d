package job

import (
	"encoding/json"
	"reflect"
	"testing"
)

// What the ledger keeps of a message comes back as it was, each argument as what it was.
func TestMessageIsKept(t *testing.T) {
	for _, m := range []Message{
		Plain("550 no such user"),
		Plain(""),
		Say("reason.none", nil),
		Say("notice.x", Args{
			"letter": "L-000001", "n": 3.0, "area": Quantity{12.5, "mm2"}, "paid": Money{"3.40", "CAD"}, "until": Day{"2026-11-27"},
			"jobs": []string{"LP-1", "LP-2"}, "why": Say("reason.of", Args{"days": 2.0}), "said": []Message{Plain("a"), Say("b", nil)},
		}),
	} {
		kept, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		var got Message
		if err := json.Unmarshal(kept, &got); err != nil || !reflect.DeepEqual(got, m) {
			t.Errorf("%s came back as %#v, want %#v (%v)", kept, got, m, err)
		}
	}
}

// Sentences of earlier versions are strings, and stay what they were.
func TestMessageOfAnEarlierVersion(t *testing.T) {
	const kept = `"no agreement is on file for this address"`
	var m Message
	if err := json.Unmarshal([]byte(kept), &m); err != nil || m.Key != "" || m.String() != "no agreement is on file for this address" {
		t.Errorf("got %#v (%v)", m, err)
	}
	if again, err := json.Marshal(m); err != nil || string(again) != kept {
		t.Errorf("kept again as %s (%v)", again, err)
	}
}

// FuzzMessage: whatever is read is written so that it is read the same again.
func FuzzMessage(f *testing.F) {
	for _, s := range []string{`"x"`, `{"key":"a","args":{"n":1,"q":{"amount":1,"unit":"mm"},"d":{"day":"2026-01-01"},"l":["a"],"m":[{"key":"b"}]}}`, `{}`, `null`, `{"key":"a","args":{"x":null}}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var m Message
		if json.Unmarshal(b, &m) != nil {
			return
		}
		kept, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		var again Message
		if err := json.Unmarshal(kept, &again); err != nil {
			t.Fatalf("%s: %v", kept, err)
		}
		if m.String() != again.String() {
			t.Errorf("%s became %s", m, again)
		}
	})
}
