package ledger

import (
	"database/sql/driver"
	"strings"

	"modernc.org/sqlite"

	"meshclerk/intake/plain"
)

// hasWords is a function of SQL: whether each word of its first argument stands in the
// second, in any order, whatever the case and the accents.
const hasWords = "has_words"

func init() {
	sqlite.MustRegisterDeterministicScalarFunction(hasWords, 2, func(_ *sqlite.FunctionContext, args []driver.Value) (driver.Value, error) {
		words, _ := args[0].(string)
		text, _ := args[1].(string)
		return finds(words, plain.Fold(text)), nil
	})
}

// mostWords are looked for; the rest of a longer search is left out.
const mostWords = 12

// searched are the words of a search as has_words takes them.
func searched(query string) string {
	words := strings.Fields(plain.Fold(query))
	return strings.Join(words[:min(len(words), mostWords)], " ")
}

func finds(words, text string) bool {
	for word := range strings.FieldsSeq(words) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}
