package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
)

func (l *loader) checkPrices() {
	j, p := l.in("prices.toml"), &l.rules.Prices
	if p.Currency == "" || !currency.IsValid(p.Currency) {
		hint := job.Say("rules.hint.currency", nil)
		if near := Nearest(p.Currency, currency.GetCurrencyCodes()); near != "" {
			hint = job.Say("rules.hint.near", job.Args{"word": near})
		}
		j.bad("currency", job.Say("rules.no-currency", job.Args{"given": p.Currency}), hint)
	}
	for key, v := range map[string]string{"per_job": p.PerJob, "per_hour": p.PerHour, "minimum": p.Minimum, "round_to": p.RoundTo} {
		j.money(key, v, p.Currency)
	}
	if plainDecimal(p.RoundTo) && strings.Trim(p.RoundTo, "0.") == "" {
		j.bad("round_to", job.Say("rules.round-to", job.Args{"given": p.RoundTo}), job.Say("rules.hint.cent", nil))
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
	j.between("hour_step", p.HourStep, 0, 24, "rules.unit.hours")
	j.between("free_grams", p.FreeGrams, 0, 100000, "rules.unit.grams")
	j.count("valid_days", p.ValidDays, 1, 3650)
	j.line("tax_label", p.TaxLabel)
}

// checkPerGram checks that each material has a price, and each price a material.
func (l *loader) checkPerGram(j judge) {
	p, known := &l.rules.Prices, l.rules.materialNames()
	for name, v := range p.PerGram {
		j.money("per_gram."+name, v, p.Currency)
		if !slices.Contains(known, name) {
			j.bad("per_gram."+name, job.Say("rules.not-in-materials", job.Args{"material": name}), didYouMean(name, known))
		}
	}
	for _, name := range known {
		if _, ok := p.PerGram[name]; !ok {
			j.bad("per_gram", job.Say("rules.no-price", job.Args{"material": name}), job.Say("rules.hint.per-gram", job.Args{"material": name}))
		}
	}
}

func (l *loader) checkLimits() {
	j, m := l.in("limits.toml"), &l.rules.Limits
	j.between("job_hours", m.JobHours, 0.1, 1000, "rules.unit.hours")
	j.count("max_copies", m.MaxCopies, 1, 100000)
	j.count("files_per_letter", m.FilesPerLetter, 1, 1000)
	if len(m.Accepted) == 0 {
		j.bad("accepted", job.Say("rules.no-accepted", nil), example(`accepted = [".stl"]`))
	}
	for i, v := range m.Accepted {
		// Only STL is read; another ending would be accepted and then found unreadable.
		j.oneOf(fmt.Sprintf("accepted[%d]", i), v, ".stl")
	}
	j.count("pickup_days", m.PickupDays, 1, 3650)
	j.count("reminder_days", m.ReminderDays, 1, 3650)
	j.count("lapse_days", m.LapseDays, 1, 3650)
	if m.LapseDays <= m.ReminderDays {
		j.bad("lapse_days", job.Say("rules.lapse-first", job.Args{"given": m.LapseDays, "than": m.ReminderDays}), none)
	}
	j.count("pickup_reminder_days", m.PickupReminderDays, 1, 3650)
	if m.PickupReminderDays >= m.PickupDays {
		j.bad("pickup_reminder_days", job.Say("rules.pickup-first", job.Args{"given": m.PickupReminderDays, "than": m.PickupDays}), none)
	}
	j.count("keep_days", m.KeepDays, 0, 36500)
	j.between("printing_hours_per_day", m.PrintingHoursPerDay, 0.1, 24, "rules.unit.hours")
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
			at.bad("by", job.Say("rules.not-staff", job.Args{"given": a.By}), didYouMean(a.By, staff))
		}
	}
}

// oneUse checks that a folder has one meaning: a draft moved there must not
// mean two things.
func (l *loader) oneUse(j judge, folders map[string]string, key, name string) {
	if other, twice := folders[name]; twice && name != "" {
		j.bad(key, job.Say("rules.folder-twice", job.Args{"folder": name, "key": other}), job.Say("rules.hint.own-folder", nil))
	}
	folders[name] = key
}

func (j judge) duration(key, v string, low, high time.Duration) time.Duration {
	d, err := time.ParseDuration(v)
	if err != nil || d < low || d > high {
		j.bad(key, job.Say("rules.time", job.Args{"key": key, "given": v, "low": short(low), "high": short(high)}), job.Say("rules.hint.time", nil))
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
		j.between(key, float64(v), 1000, 4096*mib, "rules.unit.bytes")
	}
	j.between("header_bytes", float64(c.HeaderBytes), 1000, 64*mib, "rules.unit.bytes")
	j.between("text_bytes", float64(c.TextBytes), 1000, 64*mib, "rules.unit.bytes")
	j.count("parts", c.Parts, 1, 100000)
	j.count("depth", c.Depth, 1, 100)
	j.count("archive_files", c.ArchiveFiles, 1, 100000)
	j.between("archive_ratio", c.ArchiveRatio, 2, 100000, "rules.unit.times")
	j.count("archive_depth", c.ArchiveDepth, 0, 10)
	j.count("facets", c.Facets, 4, 100_000_000)
	j.between("coordinate_mm", c.CoordinateMM, 100, 1e9, "mm")
	j.between("check_work", c.CheckWork, 100, 1_000_000, "rules.unit.steps")
	j.count("attempts", c.Attempts, 1, 100)
}
