package sheet

import (
	"regexp"
	"slices"
	"testing"
)

// Code 39 as printed tables of it have it (from memory), bar by bar: w is wide.
func TestCode39(t *testing.T) {
	for c, want := range map[rune]string{'*': "nwnnwnwnn", '1': "wnnwnnnnw", '0': "nnnwwnwnn", 'A': "wnnnnwnnw", 'L': "nnwnnnnww", 'P': "nnwnwnnwn", '-': "nwnnnnwnw"} {
		var got string
		for _, w := range code39Char(c) {
			got += map[int]string{1: "n", 3: "w"}[w]
		}
		if got != want {
			t.Errorf("%c is %s, want %s", c, got, want)
		}
	}
	seen := map[string]rune{}
	for _, row := range code39Rows {
		for _, c := range row {
			var key string
			wide := 0
			for _, w := range code39Char(c) {
				key += string(rune('0' + w))
				if w == 3 {
					wide++
				}
			}
			if wide != 3 || len(key) != 9 {
				t.Errorf("%c has %d wide of %d", c, wide, len(key)) // the code's name: 3 of 9
			}
			if other, ok := seen[key]; ok {
				t.Errorf("%c looks like %c", c, other)
			}
			seen[key] = c
		}
	}
	if code39("ö") != nil {
		t.Error("a letter that the code has not was written")
	}
}

// The sheet's words in other languages take in what the English ones do, in the
// same order, and none is forgotten in the page.
func TestSheetWords(t *testing.T) {
	verbs := regexp.MustCompile(`%[.0-9]*[a-z]`)
	for words, said := range sheetSaid {
		for _, other := range said {
			if got, want := verbs.FindAllString(other, -1), verbs.FindAllString(words, -1); !slices.Equal(got, want) {
				t.Errorf("%q takes in %v, and %q %v", words, want, other, got)
			}
		}
	}
	for _, m := range regexp.MustCompile(`Say "([^"]+)"`).FindAllStringSubmatch(sheetText, -1) {
		if _, ok := sheetSaid[m[1]]; !ok {
			t.Errorf("%q of the page is not translated", m[1])
		}
	}
}
