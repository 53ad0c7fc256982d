package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/bojanz/currency"
)

func (l *loader) checkPrices() {
	j, p := l.in("prices.toml"), &l.rules.Prices
	if p.Currency == "" || !currency.IsValid(p.Currency) {
		near := didYouMean(p.Currency, currency.GetCurrencyCodes())
		if len(near) > 40 {
			near = "use the three letters of ISO 4217, e.g. CAD"
		}
		j.bad("currency", near, "currency is %q, which is no currency code", p.Currency)
	}
	for key, v := range map[string]string{"per_job": p.PerJob, "per_hour": p.PerHour, "minimum": p.Minimum, "round_to": p.RoundTo} {
		j.money(key, v, p.Currency)
	}
	if plainDecimal(p.RoundTo) && strings.Trim(p.RoundTo, "0.") == "" {
		j.bad("round_to", `"0.01" rounds to the cent`, "round_to is %q, but must be more than zero", p.RoundTo)
	}
	for key, v := range map[string]string{"free_amount": p.FreeAmount, "deposit_over": p.DepositOver} {
		if v != "" {
			j.money(key, v, p.Currency)
		}
	}
	for key, v := range map[string]string{"tax_percent": p.TaxPercent, "deposit_percent": p.DepositPercent} {
		if v != "" {
			j.percent(key, v)
		}
	}
	l.checkPerGram(j)
	j.filled("locale", p.Locale)
	j.between("hour_step", p.HourStep, 0, 24, "hours")
	j.between("free_grams", p.FreeGrams, 0, 100000, "grams")
	j.count("valid_days", p.ValidDays, 1, 3650)
	j.line("tax_label", p.TaxLabel)
}

// checkPerGram checks that each material has a price, and each price a material.
func (l *loader) checkPerGram(j judge) {
	p, known := &l.rules.Prices, l.rules.materialNames()
	for name, v := range p.PerGram {
		j.money("per_gram."+name, v, p.Currency)
		if !slices.Contains(known, name) {
			j.bad("per_gram."+name, didYouMean(name, known), "the material %q is not in materials.toml", name)
		}
	}
	for _, name := range known {
		if _, ok := p.PerGram[name]; !ok {
			j.bad("per_gram", fmt.Sprintf(`add a line %s = "0.10" under [per_gram]; "0" where it costs nothing`, name), "the material %q has no price per gram", name)
		}
	}
}

func (l *loader) checkLimits() {
	j, m := l.in("limits.toml"), &l.rules.Limits
	j.between("job_hours", m.JobHours, 0.1, 1000, "hours")
	j.count("max_copies", m.MaxCopies, 1, 100000)
	j.count("files_per_letter", m.FilesPerLetter, 1, 1000)
	if len(m.Accepted) == 0 {
		j.bad("accepted", `e.g. accepted = [".stl"]`, "accepted is empty, so no file could be taken")
	}
	for i, v := range m.Accepted {
		// Only STL is read; another ending would be accepted and then found unreadable.
		j.oneOf(fmt.Sprintf("accepted[%d]", i), v, ".stl")
	}
	j.count("pickup_days", m.PickupDays, 1, 3650)
	j.count("reminder_days", m.ReminderDays, 1, 3650)
	j.count("lapse_days", m.LapseDays, 1, 3650)
	if m.LapseDays <= m.ReminderDays {
		j.bad("lapse_days", "", "lapse_days is %d, but must be more than reminder_days (%d), so that the reminder comes first", m.LapseDays, m.ReminderDays)
	}
	j.count("pickup_reminder_days", m.PickupReminderDays, 1, 3650)
	if m.PickupReminderDays >= m.PickupDays {
		j.bad("pickup_reminder_days", "", "pickup_reminder_days is %d, but must be less than pickup_days (%d)", m.PickupReminderDays, m.PickupDays)
	}
	j.count("keep_days", m.KeepDays, 0, 36500)
	j.between("printing_hours_per_day", m.PrintingHoursPerDay, 0.1, 24, "hours")
}

func (l *loader) checkMailbox() {
	j, m := l.in("mailbox.toml"), &l.rules.Mailbox
	m.Poll = j.duration("poll", m.PollText, 5*time.Second, 24*time.Hour)
	m.Command = j.duration("command_timeout", m.CommandText, time.Second, time.Hour)
	j.count("first_days", m.FirstDays, 0, 36500)
	folders := map[string]string{}
	for _, f := range []struct{ key, name string }{
		{"inbox", m.Inbox}, {"to_approve", m.ToApprove}, {"set_aside", m.SetAside}, {"sent", m.Sent},
	} {
		j.filled(f.key, f.name)
		l.oneUse(j, folders, f.key, f.name)
	}
	var staff []string
	for _, p := range l.rules.Library.Staff {
		staff = append(staff, p.Name)
	}
	for i, a := range m.Approved {
		at := j.at("approved", i)
		at.filled("folder", a.Folder)
		l.oneUse(at, folders, "folder", a.Folder)
		if !slices.Contains(staff, a.By) {
			at.bad("by", didYouMean(a.By, staff), "%q is not among the staff in library.toml, and only they can approve", a.By)
		}
	}
}

// oneUse checks that a folder has one meaning: a draft moved there must not
// mean two things.
func (l *loader) oneUse(j judge, folders map[string]string, key, name string) {
	if other, twice := folders[name]; twice && name != "" {
		j.bad(key, "give each its own folder", "the folder %q is already used as %s", name, other)
	}
	folders[name] = key
}

func (j judge) duration(key, v string, low, high time.Duration) time.Duration {
	d, err := time.ParseDuration(v)
	if err != nil || d < low || d > high {
		j.bad(key, `write a number and a unit, e.g. "60s" or "5m"`, "%s is %q, but must be a time between %s and %s", key, v, short(low), short(high))
	}
	return d
}

// short writes whole hours and minutes without zeros behind them: 24h, not 24h0m0s.
func short(d time.Duration) string {
	return strings.Replace(strings.Replace(d.String(), "m0s", "m", 1), "h0m", "h", 1)
}

func (l *loader) checkCaps() {
	j, c := l.in("caps.toml"), &l.rules.Caps
	const mib = 1 << 20
	for key, v := range map[string]int64{"letter_bytes": c.LetterBytes, "archive_bytes": c.ArchiveBytes, "mesh_bytes": c.MeshBytes} {
		j.between(key, float64(v), 1000, 4096*mib, "bytes")
	}
	j.between("header_bytes", float64(c.HeaderBytes), 1000, 64*mib, "bytes")
	j.between("text_bytes", float64(c.TextBytes), 1000, 64*mib, "bytes")
	j.count("parts", c.Parts, 1, 100000)
	j.count("depth", c.Depth, 1, 100)
	j.count("archive_files", c.ArchiveFiles, 1, 100000)
	j.between("archive_ratio", c.ArchiveRatio, 2, 100000, "times")
	j.count("archive_depth", c.ArchiveDepth, 0, 10)
	j.count("facets", c.Facets, 4, 100_000_000)
	j.between("coordinate_mm", c.CoordinateMM, 100, 1e9, "mm")
	j.between("check_work", c.CheckWork, 100, 1_000_000, "million steps")
	j.count("attempts", c.Attempts, 1, 100)
}
