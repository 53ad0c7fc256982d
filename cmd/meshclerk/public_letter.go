package main

import "meshclerk/intake/job"

// publicLetter is a letter as scripts read it (letter --json). Its fields keep their
// names; what the ledger keeps may change apart from it.
type publicLetter struct {
	*job.Letter
	Wishes publicWishes `json:"wishes"` // stands over the letter's own
}

// publicWishes are wishes with nothing left out: unsaid is null, "" or [].
type publicWishes struct {
	job.Wishes
	Colours    []string     `json:"colours"`
	Items      []job.Item   `json:"items"`
	NotColours []string     `json:"not_colours"`
	Unread     []job.Unread `json:"unread"`
}

func publishLetter(l *job.Letter) publicLetter { return publicLetter{l, publishWishes(l.Wishes)} }

func publishWishes(w job.Wishes) publicWishes {
	p := publicWishes{Wishes: w, Colours: orEmpty(w.Colours), Items: []job.Item{}, NotColours: orEmpty(w.NotColours), Unread: orEmpty(w.Unread)}
	for _, item := range w.Items {
		item.Colours = orEmpty(item.Colours)
		p.Items = append(p.Items, item)
	}
	return p
}

// orEmpty makes what is unsaid an empty list.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
