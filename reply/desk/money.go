package desk

import "github.com/bojanz/currency"

// sum adds decimal amounts exactly; "" when there are none or one is no money.
func sum(amounts []string, code string) string {
	var total currency.Amount
	for i, a := range amounts {
		m, err := currency.NewAmount(a, code)
		if err != nil {
			return ""
		}
		if i == 0 {
			total = m
		} else if total, err = total.Add(m); err != nil {
			return ""
		}
	}
	if len(amounts) == 0 {
		return ""
	}
	return total.Number()
}
