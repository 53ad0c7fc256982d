package preflight

import (
	"encoding/json"
	"testing"

	"meshclerk/intake/job"
)

// kept holds that everything a report says is the same when the report was stored and
// read again.
func kept(t testing.TB, r job.Report) {
	t.Helper()
	raw, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var again job.Report
	if err := json.Unmarshal(raw, &again); err != nil {
		t.Fatal(err)
	}
	before, after := sentences(r), sentences(again)
	for i, m := range before {
		if m.String() != after[i].String() {
			t.Errorf("%s is read again as %s", m, after[i])
		}
	}
}

func sentences(r job.Report) []job.Message {
	out := []job.Message{r.Error}
	for _, f := range r.Findings {
		out = append(out, f.Text, f.Question)
	}
	for _, a := range r.Advice {
		out = append(out, a.Do, a.Why)
	}
	if r.Orientation != nil {
		out = append(out, r.Orientation.Why)
	}
	return out
}
