package desk

import (
	"net/url"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// settingsForm is the form as the job stands, by its own page.
func settingsForm(copies string) url.Values {
	return url.Values{"layer": {"0.2"}, "shells": {"2"}, "infill": {"10"}, "copies": {copies}, "scale": {"100"}, "material": {"PLA"}, "colour": {"blue"},
		"supports": {""}, "way": {"sent"}, "printer": {""}, "do": {"try"}}
}

// Settings changed after an offer: the page says what that does before and after, and
// that is what happens. Nothing tells of a reply that is not written.
func TestSettingsAfterAnOfferSayWhatHappens(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	b := h.browser("marisol")
	path := "/job/" + string(id) + "/settings"
	_, page := b.get("/job/" + string(id))
	holds(t, page, "Use these settings")
	lacks(t, page, "write the reply")
	form := settingsForm("3")
	_, page = b.post(path, form)
	holds(t, page, "a new offer is drafted; a yes to the old one does not count for it.")
	form.Set("do", "use")
	_, page = b.post(path, form)
	holds(t, page, "The settings are taken over. A new offer is drafted; a yes to the old one does not count for it.")
	lacks(t, page, "written anew")
	if j := h.job(id); j.Stage != job.Checked || !h.hasStep(ledger.StepDraft, j.Thread) {
		t.Errorf("no new offer is drafted: %s", j.Stage)
	}
	h.do(func(tx *ledger.Tx) error { return tx.Move(t.Context(), id, job.Drafted, ledger.Robot, job.Plain("")) })
	h.do(func(tx *ledger.Tx) error { return tx.Move(t.Context(), id, job.Quoted, ledger.Robot, job.Plain("")) })
	form.Set("printer", h.rules.Printers[0].Name) // where it is planned anyway
	_, page = b.post(path, form)
	holds(t, page, "Nothing changes for the patron.")
	if j := h.job(id); j.Stage != job.Quoted || j.Settings.Printer != h.rules.Printers[0].Name {
		t.Errorf("%s %+v", j.Stage, j.Settings)
	}
}

func (h *house) hasStep(kind ledger.StepKind, subject string) bool {
	h.t.Helper()
	steps, err := h.ledger.OpenSteps(h.t.Context())
	if err != nil {
		h.t.Fatal(err)
	}
	for _, s := range steps {
		if s.Kind == kind && s.Subject == subject {
			return true
		}
	}
	return false
}

// What is agreed leaves the print list when its terms change; what is printing or done
// cannot be changed, and says so.
func TestSettingsOfWhatIsAgreedAndOfWhatIsPrinting(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, b := h.agreed(), h.browser("marisol")
	path := "/job/" + string(id) + "/settings"
	form := settingsForm("4")
	_, page := b.post(path, form)
	holds(t, page, "the part leaves the print list and a new offer is drafted")
	form.Set("do", "use")
	_, page = b.post(path, form)
	holds(t, page, "The part is off the print list, and a new offer is drafted")
	if j := h.job(id); j.Stage != job.Checked {
		t.Error(j.Stage)
	}
	printing := h.agreed()
	b.post("/job/"+string(printing)+"/move", url.Values{"to": {"printing"}})
	_, page = b.get("/job/" + string(printing))
	holds(t, page, "This part is printing as agreed, so its settings cannot be changed any more.")
	lacks(t, page, "Use these settings", "Change the settings")
	_, page = b.post("/job/"+string(printing)+"/settings", form)
	if j := h.job(printing); j.Settings.Copies == 4 || !strings.Contains(page, string(printing)) {
		t.Errorf("%+v\n%s", j.Settings, page)
	}
}
