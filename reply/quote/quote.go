// Package quote turns an estimate and the house's price rules into a price:
// lines that add up, to the last cent, to the total.
//
// All money is exact decimal. The order of the rules is fixed, and each rule
// that changes the price leaves one line:
//
//	job        for each job, whatever its size
//	mass       grams of each material; what is charged is rounded to a tenth of a gram, which is what the line says
//	time       hours of printing, in started steps where the rules say so
//	allowance  free grams, then a free amount; never more than what was charged
//	minimum    what is missing to the least a job costs
//	tax        on all of the above
//	rounding   to the nearest multiple that can be paid, halves up
//
// The total is therefore what is paid, tax in, and a multiple of the rounding step.
// A rule that is absent or zero leaves no line. A material without a price per
// gram is an error: a price is never guessed.
package quote

import (
	"math"
	"strconv"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Price prices an estimate by the rules. The quote holds from the day of when
// (in its own time zone) for the rules' number of days, that last day included.
func Price(e job.Estimate, p rules.Prices, when time.Time) (job.Quote, error) {
	s, err := newSheet(p)
	if err != nil {
		return job.Quote{}, err
	}
	s.chargeJob()
	s.chargeMass(e)
	s.chargeTime(e.PrintTimeS)
	s.takeFreeAmount()
	s.raiseToMinimum()
	s.addTax()
	s.roundTotal()
	deposit := s.deposit()
	if s.err != nil {
		return job.Quote{}, &job.Fault{Message: job.Say("faults.no-price", job.Args{"why": job.Why(s.err)}), Err: s.err}
	}
	q := job.Quote{Currency: p.Currency, Lines: s.lines, Total: s.sum.text(), Deposit: deposit}
	if p.ValidDays > 0 {
		q.ValidUntil = when.AddDate(0, 0, p.ValidDays).Format(time.DateOnly)
	}
	return q, nil
}

// PriceChoices returns the what-if rows with Total filled in, each priced as
// the job would be with those settings. Base is the estimate that they vary.
func PriceChoices(choices []job.Choice, base job.Estimate, p rules.Prices) ([]job.Choice, error) {
	priced := make([]job.Choice, len(choices))
	for i, c := range choices {
		e := base
		e.PrintTimeS, e.MassG, e.SupportMassG = c.PrintTimeS, c.MassG, c.SupportMassG
		if c.SupportMaterial != "" {
			e.SupportMaterial = c.SupportMaterial
		}
		if c.Settings.Material != "" {
			e.Material = c.Settings.Material
		}
		q, err := Price(e, p, time.Time{})
		if err != nil {
			return nil, err
		}
		priced[i] = c
		priced[i].Total = q.Total
	}
	return priced, nil
}

func (s *sheet) chargeJob() {
	s.add("job", job.Say("price.job", nil), s.read("per_job", s.rules.PerJob))
}

// chargeMass charges the part's plastic, and the supports' when they are
// weighed in: at the part's price, or at their own if they are of another material.
func (s *sheet) chargeMass(e job.Estimate) {
	part, support := e.MassG-e.SupportMassG, e.SupportMassG
	if !s.rules.WeighSupports {
		support = 0
	}
	free := s.rules.FreeGrams
	if e.SupportMaterial == "" || e.SupportMaterial == e.Material {
		s.chargeGrams(e.Material, part+support, &free)
		return
	}
	s.chargeGrams(e.Material, part, &free)
	s.chargeGrams(e.SupportMaterial, support, &free)
}

// chargeGrams charges one material. The free grams of the job are used up by
// the materials in turn.
func (s *sheet) chargeGrams(material string, g float64, free *float64) {
	g, ok := tenths(g)
	if !ok {
		s.fail(job.Refuse(job.Say("faults.mass-no-number", nil)))
	}
	price, known := s.rules.PerGram[material]
	if !known {
		s.fail(job.Refuse(job.Say("faults.no-price-per-gram", job.Args{"material": material})))
	}
	if s.err != nil || g == 0 {
		return
	}
	each := s.read("per_gram."+material, price)
	s.add("mass", job.Say("price.mass", job.Args{"grams": g, "material": material, "each": s.said(each)}), s.times(each, decimal(g)))
	gift := math.Min(g, *free)
	*free -= gift
	s.add("allowance", job.Say("price.mass-free", job.Args{"grams": gift, "material": material}), s.negative(s.times(each, decimal(gift))))
}

// chargeTime charges hours of printing.
func (s *sheet) chargeTime(seconds float64) {
	each := s.read("per_hour", s.rules.PerHour)
	if s.err != nil || each.IsZero() {
		return
	}
	if math.IsNaN(seconds) || seconds < 0 || seconds > 1e9 {
		s.fail(job.Refuse(job.Say("faults.time-no-number", nil)))
		return
	}
	step := s.rules.HourStep
	if step <= 0 {
		minutes := math.Round(seconds / 60)
		s.add("time", job.Say("price.time", job.Args{"time": hours(minutes), "each": s.said(each)}), s.over(s.times(each, decimal(minutes)), "60"))
		return
	}
	// A second more than the step is no new step: the estimate is not that exact.
	n := math.Max(1, math.Ceil((seconds-1)/(3600*step)))
	perStep := s.times(each, decimal(step))
	s.add("time", started(hours(60*n*step), s.said(perStep), step), s.times(perStep, decimal(n)))
}

// takeFreeAmount takes off the free amount, but never more than was charged.
func (s *sheet) takeFreeAmount() {
	free := s.read("free_amount", s.rules.FreeAmount)
	s.add("allowance", job.Say("price.free", job.Args{"amount": s.said(free)}), s.negative(s.least(free, s.sum)))
}

func (s *sheet) raiseToMinimum() {
	least := s.read("minimum", s.rules.Minimum)
	missing := s.minus(least, s.sum)
	if s.err == nil && !missing.IsNegative() {
		s.add("minimum", job.Say("price.minimum", job.Args{"least": s.said(least)}), missing)
	}
}

func (s *sheet) addTax() {
	percent := s.rules.TaxPercent
	if percent == "" {
		return
	}
	name := job.Plain(s.rules.TaxLabel)
	if name.IsZero() {
		name = job.Say("price.tax-name", nil)
	}
	rate, err := strconv.ParseFloat(percent, 64)
	if err != nil {
		s.fail(job.Refuse(job.Say("faults.price-no-amount", job.Args{"key": "tax_percent", "given": percent})))
	}
	s.add("tax", job.Say("price.tax", job.Args{"name": name, "percent": job.Quantity{Amount: rate, Unit: "decimal"}}), s.percent(s.sum, percent))
}

// roundTotal adds what brings the total to the nearest multiple of the step.
func (s *sheet) roundTotal() {
	step := s.read("round_to", s.rules.RoundTo)
	s.add("rounding", job.Say("price.rounding", job.Args{"step": s.said(step)}), s.minus(s.nearest(s.sum, step), s.sum))
}

// deposit is what is asked for beforehand, or empty.
func (s *sheet) deposit() string {
	over := s.read("deposit_over", s.rules.DepositOver)
	if s.err != nil || s.rules.DepositPercent == "" || !s.more(s.sum, over) {
		return ""
	}
	part := s.percent(s.sum, s.rules.DepositPercent)
	part = s.nearest(part, s.read("round_to", s.rules.RoundTo))
	if s.err != nil || part.IsZero() {
		return ""
	}
	return part.text()
}
