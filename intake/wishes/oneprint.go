package wishes

import "slices"

// oneprint tells whether several files are one print, "yes" or "no": "base.stl and
// letters.stl are one part". Below our question whether they are, a yes is one too.
func (d *doc) oneprint() (string, string) {
	said, from, to := "", 0, 0
	for i := 0; i < len(d.toks); i++ {
		one, own := d.cue(i, "onepiece"), d.cue(i, "ownpieces")
		if d.topic == "together" || slices.Contains(d.topics, "together") {
			one = max(one, d.cue(i, "onepieceshort"))
		}
		n := max(one, own)
		if n == 0 || d.toks[i].away || d.toks[i].told || d.hypothetical(i) || d.onlyAsks(i) {
			continue
		}
		now := "yes"
		if own >= one || d.has(span{d.clauseOf(i).from, i}, "not") >= 0 {
			now = "no"
		}
		if said != "" && said != now {
			return "", "" // one here and two there
		}
		said, from, to = now, i, i+n
		d.claim(i, i+n)
		d.use(i, i+n)
		i += n - 1
	}
	if said == "" && d.topic == "together" {
		return d.yesOrNo()
	}
	return said, d.words(from, to)
}
