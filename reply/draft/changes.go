package draft

import (
	"meshclerk/intake/job"
	"meshclerk/templates"
)

// changes says what differs from the last quote, in the order a patron cares about:
// what was decided, and what it costs. How long it prints and weighs follows from that.
func (f *filler) changes() []templates.Change {
	var out []templates.Change
	for _, now := range f.in.Jobs {
		before := previous(f.in.Before, now.ID)
		if before == nil {
			continue
		}
		a, b := f.part(before), f.part(now)
		if before.Blob == now.Blob {
			a.File = b.File // a new name for the same bytes is no new file
		} else if a.File == b.File {
			a.File, b.File = "", templates.Text(f.locale.Word("replies.new-version"))
		}
		for _, c := range []templates.Change{
			{What: "file", Before: a.File, Now: b.File},
			{What: "copies", Before: f.locale.Number(float64(a.Copies), 0), Now: f.locale.Number(float64(b.Copies), 0)},
			{What: "colour", Before: a.Colour, Now: b.Colour},
			{What: "material", Before: a.Material, Now: b.Material},
			{What: "size", Before: a.Size, Now: b.Size},
			{What: "supports", Before: f.supports(a.Supports), Now: f.supports(b.Supports)},
			{What: "layer", Before: a.Layer, Now: b.Layer},
			{What: "infill", Before: a.Infill, Now: b.Infill},
			{What: "shells", Before: f.locale.Number(float64(a.Shells), 0), Now: f.locale.Number(float64(b.Shells), 0)},
			{What: "total", Before: a.Total, Now: b.Total},
		} {
			if c.Before != c.Now {
				c.File = templates.Name(now.File, longestFile)
				out = append(out, c)
			}
		}
	}
	return out
}

func previous(jobs []*job.Job, id job.ID) *job.Job {
	for _, j := range jobs {
		if j.ID == id {
			return j
		}
	}
	return nil
}

func (f *filler) supports(s string) templates.Text {
	switch s {
	case "yes":
		return templates.Text(f.locale.Word("replies.supports.yes"))
	case "soluble":
		return templates.Text(f.locale.Word("replies.supports.soluble"))
	}
	return templates.Text(f.locale.Word("replies.supports.no"))
}
