package sheet

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"meshclerk/templates"
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

// Every word of the page stands in the book, and every one of the book in the page.
func TestWordsOfThePage(t *testing.T) {
	b := templates.DefaultBook()
	var used []string
	for _, m := range regexp.MustCompile(`Word "([^"]+)"`).FindAllStringSubmatch(sheetText, -1) {
		used = append(used, m[1])
		if _, known := b.Args(m[1]); !known {
			t.Errorf("there is no sentence %s", m[1])
		}
	}
	for _, key := range b.Keys() {
		if strings.HasPrefix(key, "sheet.page.") && !slices.Contains(used, key) {
			t.Errorf("the page does not say %s", key)
		}
	}
}
