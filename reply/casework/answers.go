package casework

import (
	"cmp"
	"context"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/reply/draft"
	"meshclerk/templates"
)

// answers are what the record and the rules say to the questions of a letter, in its
// language: when, where, how much at another size or in another colour, who may
// collect it, what is missing, how it stands. Staff read them before they leave.
type answers struct {
	o    *Office
	l    *job.Letter
	jobs []job.Job
	say  *templates.Localizer

	said []string
	rest bool // something is asked that is not answered here
	// proposes: something is spoken of beside the last offer, which a yes might be to
	proposes bool
}

// answer has a reply say what the record and the rules say to a letter's questions.
func (o *Office) answer(ctx context.Context, in *draft.Input, jobs []job.Job) error {
	l := in.Letter
	a := &answers{o: o, l: l, jobs: jobs, say: o.Texts().Book().In(l.Language, o.Rules.Prices.Locale, o.Rules.Prices.Currency)}
	for _, q := range questionsIn(l.Text) {
		if err := a.answer(ctx, saidIn(q)); err != nil {
			return err
		}
	}
	if !a.rest && o.setsCondition(l) && slices.ContainsFunc(jobs, func(j job.Job) bool { return j.Stage == job.Quoted }) {
		if _, err := a.tell("replies.answer.then-yes", nil); err != nil {
			return err
		}
	}
	in.Note, in.Rest, in.Proposes = strings.Join(a.said, "\n\n"), a.rest, a.proposes
	return nil
}

// setsCondition reports whether a letter asks nothing, and speaks of paying or of a price
// as a condition: "only after I have paid", "if it is under 5 dollars".
func (o *Office) setsCondition(l *job.Letter) bool {
	return !strings.ContainsAny(l.Text, "?¿") && (saidIn(l.Text).has(o.Rules.Words.Asks[l.Language]["pay"]) || o.pricesIn(l) > 0)
}

// asksOnlyOfCollecting reports whether each question of a letter is who may collect the
// part, where, when, or how it is paid for.
func (o *Office) asksOnlyOfCollecting(l *job.Letter) bool {
	w := o.Rules.Words
	asks, collecting := w.Asks[l.Language], slices.Concat(w.Cues[l.Language]["pickupword"], w.Guards[l.Language]["pickupword"])
	for _, text := range questionsIn(l.Text) {
		q := saidIn(text)
		of := q.has(asks["other"]) && q.has(collecting) || q.has(asks["where"]) || q.has(asks["pay"]) || q.has(asks["ready"])
		if !strings.HasSuffix(text, "?") || !of || q.has(asks["price"]) {
			return false
		}
	}
	return true
}

// pricesIn counts the sums of money that a letter names.
func (o *Office) pricesIn(l *job.Letter) (n int) {
	words, money := saidIn(l.Text), o.Rules.Words.Cues["any"]["money"]
	for i, w := range words {
		if _, err := strconv.Atoi(w); err == nil && (i+1 < len(words) && slices.ContainsFunc(money, func(m string) bool { return strings.EqualFold(m, words[i+1]) })) {
			n++
		}
	}
	return n + len(sumOfMoney.FindAllString(l.Text, 9))
}

var sumOfMoney = regexp.MustCompile(`[$€]\s?\d|\d\s?[$€]`)

// sentence is a run of words up to the mark that ends it.
var sentence = regexp.MustCompile(`[^.!?\n]*(?:\n[^.!?\n]+)*[.!?]?`)

// questionsIn are the sentences of a text that end with a question mark, or all of it
// where none does.
func questionsIn(text string) []string {
	var out []string
	for _, s := range sentence.FindAllString(text, 60) {
		if strings.HasSuffix(s, "?") {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return []string{text}
	}
	return out
}

// answer answers one question by its topics.
func (a *answers) answer(ctx context.Context, q said) error {
	asks := a.o.Rules.Words.Asks[a.l.Language]
	topics := map[string]func(context.Context, said) (bool, error){
		"price": a.price, "pay": a.pay, "ready": a.ready, "where": a.where, "other": a.other, "missing": a.missing,
	}
	found := false
	for _, t := range []string{"price", "pay", "missing", "ready", "other", "where"} {
		if !q.has(asks[t]) && !(t == "price" && a.o.setsCondition(a.l) && a.o.pricesIn(a.l) > 0) || found && t == "where" {
			continue
		}
		ok, err := topics[t](ctx, q)
		if err != nil {
			return err
		}
		found = found || ok
	}
	a.rest = a.rest || !found
	return nil
}

func (a *answers) tell(key string, args job.Args) (bool, error) {
	m := job.Say(key, args)
	if err := a.say.Missing(m); err != nil {
		return false, err
	}
	text := a.say.Say(m)
	for _, s := range a.said {
		if s == text {
			return true, nil
		}
	}
	a.said = append(a.said, text)
	return true, nil
}

// about is the one job that a question can be about: the only one, or the one that
// it names.
func (a *answers) about(q said) (job.Job, bool) {
	var named []job.Job
	for _, j := range a.jobs {
		if namesFile(strings.Join(q, " "), j.File, a.jobs) {
			named = append(named, j)
		}
	}
	if len(named) == 0 {
		named = a.jobs
	}
	if len(named) != 1 || named[0].Blob == "" {
		return job.Job{}, false
	}
	return named[0], true
}

// price works out what a part costs as it is, or as the question would have it.
func (a *answers) price(ctx context.Context, q said) (bool, error) {
	j, one := a.about(q)
	if !one || j.Report == nil || j.Report.Quote == nil || j.Report.Estimate == nil {
		return false, nil
	}
	other, what, sure := a.otherwise(j, q)
	if !sure {
		return false, nil
	}
	now := j.Report.Quote
	args := job.Args{"file": j.File, "price": string(a.say.Money(now.Total, now.Currency)), "time": string(a.say.About(j.Report.Estimate.PrintTimeS))}
	if len(what) == 0 {
		return a.tell("replies.answer.price", args)
	}
	report, _, err := a.o.Examine(ctx, other)
	if err != nil || !report.Printable() || report.Quote == nil || report.Estimate == nil {
		return false, err
	}
	a.proposes = true
	before := args["price"]
	args["what"], args["price"], args["time"] = strings.Join(what, " "), string(a.say.Money(report.Quote.Total, report.Quote.Currency)), string(a.say.About(report.Estimate.PrintTimeS))
	if report.Quote.Total == now.Total {
		return a.tell("replies.answer.same-price", args)
	}
	args["now"] = before
	return a.tell("replies.answer.other-price", args)
}

var percentOf = regexp.MustCompile(`^(\d{1,3})%?$`)

// percentAt is the percentage at a word, "80%", "80 %" or "80 por ciento", or 0.
func (a *answers) percentAt(q said, i int) int {
	m := percentOf.FindStringSubmatch(q[i])
	if m == nil || !strings.HasSuffix(q[i], "%") && q.at(i+1, a.o.Rules.Words.Cues["any"]["percent"]) == 0 {
		return 0
	}
	n, _ := strconv.Atoi(m[1])
	return n
}

// otherwise gives a job as a question would have it, and the words for it. It is not
// sure where the question has a number that it cannot place.
func (a *answers) otherwise(j job.Job, q said) (other job.Job, what []string, sure bool) {
	w, lang := a.o.Rules.Words, a.l.Language
	scale, _ := strconv.ParseFloat(q.key(w.Scales, lang), 64)
	for i, word := range q {
		if n := a.percentAt(q, i); n > 0 {
			scale = float64(n) / 100
		} else if _, err := strconv.Atoi(word); err == nil && a.o.pricesIn(a.l) == 0 {
			return j, nil, false
		}
	}
	if scale > 0 {
		j.Settings.Scale = scale
		what = append(what, a.say.Say(job.Say("replies.answer.at-size", job.Args{"percent": string(a.say.Percent(scale))})))
	}
	if m := a.material(q); m != "" && m != j.Settings.Material {
		j.Settings.Material = m
		what = append(what, a.say.Say(job.Say("replies.answer.in", job.Args{"what": m})))
	}
	if c := q.key(w.Colours, lang); c != "" {
		if inStock(job.Wishes{Colours: []string{c}, Material: j.Settings.Material}, a.o.Rules) == "" {
			return j, nil, false
		}
		j.Settings.Colour, j.Settings.Colours = c, nil
		what = append(what, a.say.Say(job.Say("replies.answer.in", job.Args{"what": string(a.say.Colour(c))})))
	}
	return j, what, true
}

func (a *answers) material(q said) string {
	for _, m := range a.o.Rules.Materials {
		if !m.Soluble && q.has(append([]string{m.Name}, m.Words...)) {
			return m.Name
		}
	}
	return ""
}

// pay tells when and where one pays, as the rules have it.
func (a *answers) pay(_ context.Context, _ said) (bool, error) {
	deposit, branch := false, ""
	for _, j := range a.jobs {
		deposit = deposit || j.Report != nil && j.Report.Quote != nil && j.Report.Quote.Deposit != ""
		branch = cmp.Or(j.Wishes.Pickup, branch)
	}
	switch {
	case deposit:
		return a.tell("replies.answer.deposit", nil)
	case branch != "":
		return a.tell("replies.answer.pay-at", job.Args{"place": branch})
	}
	return a.tell("replies.answer.pay", nil)
}

// ready tells how the jobs stand, and when they should be there.
func (a *answers) ready(ctx context.Context, _ said) (bool, error) {
	told := false
	for _, j := range a.jobs {
		if j.Blob == "" || j.Stage.Over() && j.Stage != job.Collected {
			continue
		}
		wait, err := a.o.wait(ctx, []job.Job{j})
		if err != nil {
			return false, err
		}
		key, args := standsAt(j, wait.High)
		if args["n"] == 0 {
			continue // the rules do not say how long it takes
		}
		if told, err = a.tell(key, args); err != nil {
			return told, err
		}
	}
	return told, nil
}

// standsAt says how a job stands; n is how many working days it may take.
func standsAt(j job.Job, days int) (key string, args job.Args) {
	args = job.Args{"file": j.File}
	switch j.Stage {
	case job.Printing:
		return "replies.answer.printing", args
	case job.Ready:
		return "replies.answer.is-ready", args
	case job.Collected:
		return "replies.answer.collected", args
	}
	args["n"] = days
	if j.Stage == job.Agreed || j.Stage == job.Failed {
		return "replies.answer.agreed", args
	}
	return "replies.answer.offered", args
}

// where tells the branch that was named, or all of them, with their hours.
func (a *answers) where(_ context.Context, _ said) (bool, error) {
	var places []string
	for _, b := range a.o.Rules.Library.In(a.l.Language).Branches {
		place := b.Name
		if b.Hours != "" {
			place += " (" + b.Hours + ")"
		}
		if len(a.jobs) > 0 && a.jobs[0].Wishes.Pickup == b.Name {
			return a.tell("replies.answer.where", job.Args{"place": place})
		}
		places = append(places, place)
	}
	return a.tell("replies.answer.places", job.Args{"places": strings.Join(places, "; ")})
}

// other tells who may collect a part, as the letter that it is ready does.
func (a *answers) other(_ context.Context, _ said) (bool, error) {
	a.proposes = true
	return a.tell("replies.answer.only-you", nil)
}

// missing tells what is still needed, of all jobs that which comes first: the questions
// follow in the letter.
func (a *answers) missing(ctx context.Context, _ said) (bool, error) {
	order := []string{"replies.answer.nothing", "replies.answer.your-yes", "replies.answer.your-agreement", "replies.answer.your-answers"}
	first := 0
	for _, j := range a.jobs {
		needs, err := a.o.needs(ctx, j)
		if err != nil {
			return false, err
		}
		first = max(first, slices.Index(order, needs))
	}
	return a.tell(order[first], nil)
}

// needs is what a job still needs from its patron, by the sentence that says so.
func (o *Office) needs(ctx context.Context, j job.Job) (string, error) {
	switch left := o.left(j); {
	case !offered[j.Stage]:
		return "replies.answer.nothing", nil
	case len(left) == 1 && left[0] == "agreement":
		return "replies.answer.your-agreement", nil
	case len(left) > 0:
		return "replies.answer.your-answers", nil
	}
	if _, kept, err := o.Ledger.OpenYes(ctx, j.ID); err != nil || kept {
		return "replies.answer.nothing", err
	}
	return "replies.answer.your-yes", nil
}
