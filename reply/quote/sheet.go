package quote

import (
	"strconv"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// sheet is a price being worked out. The first error stays, and makes what
// follows a no-op, so that the rules read as a list.
type sheet struct {
	rules rules.Prices
	lines []job.Line
	sum   money
	err   error
}

// money is an exact amount of the sheet's currency.
type money struct{ currency.Amount }

// text is the plain decimal, with the currency's digits: "12.50", or "1250" for a currency without cents.
func (m money) text() string { return m.Round().Number() }

func newSheet(p rules.Prices) (*sheet, error) {
	zero, err := currency.NewAmount("0", p.Currency)
	if err != nil {
		return nil, job.Refuse(job.Say("faults.no-currency", job.Args{"given": p.Currency}))
	}
	return &sheet{rules: p, sum: money{zero}}, nil
}

func (s *sheet) fail(err error) {
	if s.err == nil {
		s.err = err
	}
}

// add puts down one line, rounded to what the currency can show, and adds
// exactly that to the total. Nothing leaves no line.
func (s *sheet) add(kind string, label job.Message, m money) {
	if s.err != nil {
		return
	}
	m = money{m.Round()}
	if m.IsZero() {
		return
	}
	s.lines = append(s.lines, job.Line{Label: label, Amount: m.text(), Kind: kind})
	s.sum = s.plus(s.sum, m)
}

// read reads an amount of the rules; an absent one is nothing.
func (s *sheet) read(key, amount string) money {
	if amount == "" {
		amount = "0"
	}
	a, err := currency.NewAmount(amount, s.rules.Currency)
	if err != nil {
		s.fail(job.Refuse(job.Say("faults.price-no-amount", job.Args{"key": key, "given": amount})))
		a, _ = currency.NewAmount("0", s.rules.Currency)
	}
	return money{a}
}

// done keeps a result, or the first error.
func (s *sheet) done(a currency.Amount, err error) money {
	if err != nil {
		s.fail(err)
		return s.sum
	}
	return money{a}
}

func (s *sheet) plus(a, b money) money { return s.done(a.Add(b.Amount)) }

func (s *sheet) minus(a, b money) money { return s.done(a.Sub(b.Amount)) }

func (s *sheet) times(a money, n string) money { return s.done(a.Mul(n)) }

func (s *sheet) over(a money, n string) money { return s.done(a.Div(n)) }

func (s *sheet) negative(a money) money { return s.times(a, "-1") }

func (s *sheet) percent(a money, percent string) money { return s.over(s.times(a, percent), "100") }

func (s *sheet) more(a, b money) bool {
	c, err := a.Cmp(b.Amount)
	if err != nil {
		s.fail(err)
	}
	return c > 0
}

func (s *sheet) least(a, b money) money {
	if s.more(a, b) {
		return b
	}
	return a
}

// nearest is the multiple of step nearest to a, halves up.
func (s *sheet) nearest(a, step money) money {
	if step.IsZero() || step.IsNegative() {
		return a
	}
	n := s.over(a, step.Number())
	return s.times(step, n.RoundTo(0, currency.RoundHalfUp).Number())
}

// said is an amount as a label is given it.
func (s *sheet) said(m money) job.Money {
	return job.Money{Amount: m.Number(), Currency: s.rules.Currency}
}

// tenths rounds a mass to a tenth of a gram, as scales at the desk show it.
func tenths(g float64) (float64, bool) {
	if !(g > -1e-6 && g < 1e9) {
		return 0, false
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(max(g, 0), 'f', 1, 64), 64)
	return r, err == nil
}

// decimal writes a number without exponent or trailing zeros.
func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// hours says minutes as "2 h 30 min".
func hours(minutes float64) job.Message {
	h, m := int(minutes)/60, int(minutes)%60
	switch {
	case h == 0:
		return job.Say("price.minutes", job.Args{"n": m})
	case m == 0:
		return job.Say("price.hours", job.Args{"n": h})
	}
	return job.Say("price.hours-minutes", job.Args{"hours": h, "minutes": m})
}

// started says a time that is charged by started steps of so many hours.
func started(time job.Message, each job.Money, step float64) job.Message {
	switch step {
	case 0.5:
		return job.Say("price.time-half-hour", job.Args{"time": time, "each": each})
	case 1:
		return job.Say("price.time-hour", job.Args{"time": time, "each": each})
	}
	return job.Say("price.time-step", job.Args{"time": time, "each": each, "step": hours(60 * step)})
}

// Sum adds decimal amounts of a currency exactly. It returns "" when there are
// none, or when one is no amount of money.
func Sum(amounts []string, code string) string {
	var total currency.Amount
	for i, a := range amounts {
		m, err := currency.NewAmount(a, code)
		if err == nil && i > 0 {
			m, err = total.Add(m)
		}
		if err != nil {
			return ""
		}
		total = m
	}
	if len(amounts) == 0 {
		return ""
	}
	return total.Number()
}
