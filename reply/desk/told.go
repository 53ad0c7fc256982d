package desk

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// turn puts one kind of sentence that other rooms tell and keep, in English,
// into the language of the page.
type turn struct {
	from *regexp.Regexp
	to   string
}

// loadTurns reads pairs of sentences with the same places for what differs: {1},
// {2} and so on. Those with the most fixed words come first.
func loadTurns(name string) ([]turn, error) {
	b, err := files.ReadFile(name)
	if err != nil {
		return nil, err
	}
	pairs := map[string]string{}
	if err := toml.Unmarshal(b, &pairs); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	keys := make([]string, 0, len(pairs))
	for k := range pairs {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		if d := len(place.ReplaceAllString(b, "")) - len(place.ReplaceAllString(a, "")); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	var out []turn
	for _, k := range keys {
		from, err := regexp.Compile("^" + place.ReplaceAllString(regexp.QuoteMeta(k), "(.+?)") + "$")
		if err != nil {
			return nil, fmt.Errorf("%s: %q: %w", name, k, err)
		}
		out = append(out, turn{from, pairs[k]})
	}
	return out, nil
}

// place is where a sentence differs, quoted for a regular expression or not.
var place = regexp.MustCompile(`\\?\{(\d)\\?\}`)

// told says a sentence that another room told, in this language; what differs
// in it may be told too. A sentence without a turn stays as it is.
func (s *localizer) told(sentence string) string { return s.retold(sentence, 4) }

func (s *localizer) retold(sentence string, deep int) string {
	const longest = 2000
	if deep == 0 || len(sentence) > longest {
		return sentence
	}
	for _, t := range s.turns {
		m := t.from.FindStringSubmatch(sentence)
		if m == nil {
			continue
		}
		return place.ReplaceAllStringFunc(t.to, func(at string) string {
			n := int(at[1] - '0')
			if n >= len(m) {
				return at
			}
			return s.retold(m[n], deep-1)
		})
	}
	return sentence
}
