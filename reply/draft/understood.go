package draft

import (
	"math"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

// understood says what a patron's words, and what was settled since, say of one part:
// nothing that they did not say, and nothing that the letter still asks.
func (f *filler) understood(j *job.Job, p templates.Part) templates.Text {
	s, w := j.Settings, j.Wishes
	var said []templates.Text
	add := func(key string, args job.Args) {
		said = append(said, templates.Text(f.locale.Say(job.Say(key, args))))
	}
	if (s.Copies > 0 || w.Copies != nil) && len(s.Colours) < 2 && len(copies(j, f.in.Rules)) == 0 {
		add("replies.understood.copies", job.Args{"n": p.Copies})
	}
	f.coloured(j, p, add)
	f.sized(j, add)
	if m := stocked(firstWord(s.Material, w.Material), f.in.Rules); m != nil && !m.Soluble {
		add("replies.understood.material", job.Args{"material": m.Name})
	}
	if s.InfillSet || w.Infill != nil {
		add("replies.understood.infill", job.Args{"percent": string(p.Infill)})
	}
	if key := supported[firstWord(s.Supports, w.Supports)]; key != "" {
		add(key, nil)
	}
	return f.commas(said)
}

// supported are the words for what was said of supports, and measured those for a length.
var (
	supported = map[string]string{"yes": "replies.understood.supports-yes", "no": "replies.understood.supports-no", "soluble": "replies.understood.supports-soluble"}
	measured  = map[string]string{"height": "replies.understood.size-height", "width": "replies.understood.size-width", "depth": "replies.understood.size-depth", "longest": "replies.understood.size-longest"}
)

func firstWord(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}

type adder func(key string, args job.Args)

func (f *filler) coloured(j *job.Job, p templates.Part, add adder) {
	s, w := j.Settings, j.Wishes
	switch {
	case len(s.Colours) > 1: // "2 in red and 1 in blue"
		add("replies.understood.copies-coloured", job.Args{"copies": string(p.Colour)})
	case p.Colour != "" && (s.Colour != "" || len(w.Colours) > 0):
		add("replies.understood.colour", job.Args{"colour": string(p.Colour)})
	case len(w.NotColours) > 0 && s.Colour == "":
		var not []templates.Text
		for _, c := range w.NotColours {
			not = append(not, f.locale.Colour(c))
		}
		add("replies.understood.not-colour", job.Args{"colours": string(f.locale.Or(not))})
	case w.Words["colours"] != "" && len(w.Colours) == 0 && s.Colour == "" && len(colour(j, f.in.Rules)) == 0:
		add("replies.understood.any-colour", nil)
	}
}

// drawnIn are the scales by which a drawing in another unit becomes one in millimetres.
var drawnIn = map[string]float64{"replies.understood.drawn-in-inches": 25.4, "replies.understood.drawn-in-centimetres": 10, "replies.understood.drawn-in-metres": 1000}

// sized says the size in the words it was asked in, where that is the size of the offer.
func (f *filler) sized(j *job.Job, add adder) {
	now := 1.0
	if j.Report != nil && j.Report.Estimate != nil {
		now = firstOf(j.Report.Estimate.Scale, 1)
	}
	now = firstOf(j.Settings.Scale, now)
	if w := j.Wishes.Size; w != nil && measured[w.Axis] != "" && j.Report != nil && j.Report.Mesh != nil && near(side(w.Axis, j.Report.Mesh.SizeMM), w.MM, 0.01) {
		add(measured[w.Axis], job.Args{"size": string(f.locale.Length(w.MM))})
		return
	}
	if j.Wishes.Scale == nil && j.Settings.Scale == 0 {
		return
	}
	switch unit := unitOf(now); {
	case unit != "":
		add(unit, nil)
	case near(now, 1, 0.005):
		add("replies.understood.as-drawn", nil)
	default:
		add("replies.understood.scale", job.Args{"percent": string(f.locale.Percent(now))})
	}
}

// unitOf gives the words for the unit of a drawing that becomes one in millimetres by a scale, or "".
func unitOf(scale float64) string {
	for unit, by := range drawnIn {
		if near(scale, by, 1e-6) {
			return unit
		}
	}
	return ""
}

func near(a, b, share float64) bool { return math.Abs(a-b) <= share*math.Abs(b) }

// side is the length of a part along an axis as patrons name it.
func side(axis string, mm [3]float64) float64 {
	switch axis {
	case "width":
		return mm[0]
	case "depth":
		return mm[1]
	case "height":
		return mm[2]
	}
	return max(mm[0], mm[1], mm[2])
}

// understoodOfAll is what was understood of the whole letter: of its one part, and when
// and where it is wanted.
func (f *filler) understoodOfAll(d *templates.Data) templates.Text {
	var said []templates.Text
	if len(d.Parts) == 1 && d.Part.Understood != "" {
		said = append(said, d.Part.Understood)
	}
	if d.NeededBy != "" && !d.Late { // the letter says that it may be too soon
		said = append(said, templates.Text(f.locale.Say(job.Say("replies.understood.by", job.Args{"day": string(d.NeededBy)}))))
	}
	for _, j := range f.in.Jobs {
		if j.Wishes.Pickup != "" && d.Pickup.Branch != "" {
			said = append(said, templates.Text(f.locale.Say(job.Say("replies.understood.collect", job.Args{"branch": string(d.Pickup.Branch)}))))
			break
		}
	}
	return f.commas(said)
}

// commas is a list without a last "and": "2 copies, in green".
func (f *filler) commas(said []templates.Text) (out templates.Text) {
	for i, s := range said {
		if i == 0 {
			out = s
			continue
		}
		out = templates.Text(f.locale.Say(job.Say("numbers.comma", job.Args{"first": string(out), "next": string(s)})))
	}
	return out
}
