package casework

import (
	"cmp"
	"reflect"
	"slices"

	"meshclerk/intake/job"
)

// asOne reads the parts that a letter names as those of its one file, where none of
// them is a file of its own: their colours are those of one print, and are no count.
func asOne(w job.Wishes, files []string) job.Wishes {
	if len(files) > 1 {
		return eachNamed(w, files)
	}
	if len(files) == 1 && w.Items != nil {
		w = inTheOnlyColour(w, files[0])
	}
	if len(files) != 1 || !inTwoColours(w) || partOf(files[0], w.Items[0].Part) || partOf(files[0], w.Items[1].Part) {
		return w
	}
	if w.Items[0].Copies+w.Items[1].Copies > 1 { // else the one is of the print: "the relief in red. One, please"
		w.Copies = nil
	}
	w.Items = slices.Clone(w.Items)
	for i := range w.Items {
		w.Items[i].Copies = 0
	}
	return w
}

// inTheOnlyColour reads the one colour that a letter names as that of its one file, where it
// names that as well, without a colour: "one saucer for a small cactus, green if you have it".
func inTheOnlyColour(w job.Wishes, file string) job.Wishes {
	var coloured, own int
	for _, i := range w.Items {
		switch {
		case i.Size != nil || i.Scale != nil || i.Material != "" || i.Other != "":
			return w
		case len(i.Colours) > 0:
			coloured++
		case i.Part != "" && partOf(file, i.Part):
			own++
		}
	}
	if coloured == 1 && own == 1 && len(w.Items) == 2 && len(w.Colours) == 1 {
		w.Items = nil
	}
	return w
}

// eachNamed gives what is wished of a part without a name to the files that no other part
// of the letter names: "in black, the letters in red".
func eachNamed(w job.Wishes, files []string) job.Wishes {
	i := slices.IndexFunc(w.Items, func(i job.Item) bool { return i.Part == "" })
	if i < 0 || !inTwoColours(w) || w.ChangeMM != nil {
		return w
	}
	items := slices.Delete(slices.Clone(w.Items), i, i+1)
	for _, f := range files {
		if !slices.ContainsFunc(w.Items, func(i job.Item) bool { return i.Part != "" && partOf(f, i.Part) }) {
			items = append(items, job.Item{Part: f, Colours: w.Items[i].Colours})
		}
	}
	w.Items = items
	return w
}

// eachOnce reads a count that is the number of the files as their count: who sends
// twelve pieces and says twelve wants each once.
func eachOnce(w job.Wishes, files int) job.Wishes {
	if files < 3 || w.Copies == nil || *w.Copies != files || len(w.Items) > 0 {
		return w
	}
	one := 1
	w.Copies = &one
	return w
}

// wishesOf narrows a letter's wishes to one part: what its item says stands instead
// of what the letter says of all.
func wishesOf(w job.Wishes, file string) job.Wishes {
	counted := slices.ContainsFunc(w.Items, func(i job.Item) bool { return i.Copies > 0 && i.Part != "" && partOf(file, i.Part) })
	for _, item := range w.Items {
		if counted && item.Copies == 0 {
			continue // named in passing, as in the subject, and counted elsewhere
		}
		if item.Part == "" || !partOf(file, item.Part) {
			continue
		}
		w.Items = nil
		if item.Copies > 0 {
			n := item.Copies
			w.Copies = &n
		} else {
			w.Copies = nil
		}
		w.Colours = item.Colours
		if item.Size != nil || item.Scale != nil {
			w.Size, w.Scale = item.Size, item.Scale
		}
		if item.Material != "" {
			w.Material = item.Material
		}
		return w
	}
	if inTwoColours(w) && w.Items[0].Copies == 0 {
		return w // of one print
	}
	if named := slices.ContainsFunc(w.Items, func(i job.Item) bool { return i.Part != "" }); named {
		w.Items, w.Copies, w.Colours, w.Size, w.Scale = nil, nil, []string{}, nil, nil // said of other parts
	}
	return w
}

// separately divides wishes of one file where it is wished in more than one size or
// material: each of these is a job of its own. Copies of several colours stay one.
func separately(w job.Wishes) []job.Wishes {
	same := func(a, b job.Item) bool {
		return reflect.DeepEqual(a.Size, b.Size) && reflect.DeepEqual(a.Scale, b.Scale) && a.Material == b.Material
	}
	var groups [][]job.Item
	for _, item := range w.Items {
		i := slices.IndexFunc(groups, func(g []job.Item) bool { return same(g[0], item) })
		if i < 0 {
			groups, i = append(groups, nil), len(groups)
		}
		groups[i] = append(groups[i], item)
	}
	if len(groups) < 2 {
		return []job.Wishes{w}
	}
	var out []job.Wishes
	for _, g := range groups {
		one := w
		one.Size, one.Scale, one.Items, one.Colours = g[0].Size, g[0].Scale, nil, nil
		one.Material = cmp.Or(g[0].Material, w.Material)
		copies := 0
		for _, item := range g {
			copies += max(1, item.Copies)
			one.Colours = append(one.Colours, item.Colours...)
			item.Size, item.Scale, item.Material = nil, nil, ""
			one.Items = append(one.Items, item)
		}
		if len(g) < 2 {
			one.Items = nil
		}
		if len(one.Colours) == 0 {
			one.Colours = w.Colours
		}
		one.Copies = &copies
		out = append(out, one)
	}
	return out
}
