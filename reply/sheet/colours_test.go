package sheet

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// The sheet says which nozzle has what, and where a person has to change the filament.
func TestSheetSaysWhereTheColourChanges(t *testing.T) {
	for _, c := range []struct {
		second job.SecondColour
		est    job.Estimate
		lang   string
		want   []string
	}{
		{job.SecondColour{Colour: "red"}, job.Estimate{ChangeMM: 3.05, ChangeLayer: 16, ByHand: true}, "en", []string{"black, then change the filament by hand to red at 3.05 mm, before layer 16: set the printer to stop there"}},
		{job.SecondColour{Colour: "red"}, job.Estimate{ChangeMM: 3.05, ChangeLayer: 16, ByHand: true, ChangeWaitS: 1200}, "en", []string{"the print stands still for 20 minutes until somebody comes"}},
		{job.SecondColour{Colour: "red", FromMM: 3}, job.Estimate{ChangeMM: 3.05, ChangeLayer: 16}, "en", []string{"First nozzle black", "Second nozzle red, from 3.05 mm up, layer 16"}},
		{job.SecondColour{Colour: "red", Bodies: []int{2}}, job.Estimate{ColourChanges: 40}, "en", []string{"First nozzle black", "Changes of colour 40"}},
		{job.SecondColour{Colour: "red"}, job.Estimate{ChangeMM: 3.05, ChangeLayer: 16, ByHand: true}, "fr", []string{"noir, puis remplacer le fil à la main par rouge à 3,05 mm, avant la couche 16"}},
		{job.SecondColour{Colour: "red"}, job.Estimate{ChangeMM: 3.05, ChangeLayer: 16, ByHand: true}, "es", []string{"negro, luego cambiar el filamento a mano por rojo a 3,05 mm, antes de la capa 16"}},
	} {
		j := job.Job{Settings: job.Settings{Colour: "black", Second: &c.second}, Report: &job.Report{Estimate: &c.est}}
		r := rules.Default()
		s := &Sheet{Localizer: templates.DefaultBook().In(c.lang, r.Prices.Locale, r.Prices.Currency)}
		s.settings(j, r)
		var all []string
		for _, r := range s.Rows {
			all = append(all, strings.ReplaceAll(r[0]+" "+r[1], "\u00a0", " "))
		}
		for _, want := range c.want {
			if text := strings.Join(all, "\n"); !strings.Contains(text, want) {
				t.Errorf("the sheet lacks %q:\n%s", want, text)
			}
		}
	}
}
