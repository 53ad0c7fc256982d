package casework

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
)

// What a letter says of one part holds for that part, and where one is not clear, staff
// read it. The sentences are made up.
func TestAnswersOfSeveralParts(t *testing.T) {
	one := 1
	known0 := job.Wishes{Copies: &one, Colours: []string{"white"}, Pickup: "Central"}
	jobs := []job.Job{
		{ID: "LP-1", File: "lid.stl", Stage: job.Quoted, Wishes: known0},
		{ID: "LP-2", File: "box_v2.stl", Stage: job.Quoted, Wishes: known0},
		{ID: "LP-3", File: "bouton.stl", Stage: job.Quoted, Wishes: known0},
		{ID: "LP-4", File: "equerre.stl", Stage: job.Quoted, Wishes: known0},
	}
	o := &Office{Rules: rules.Default()}
	for _, c := range []struct{ lang, text, want string }{
		{"en", "Three lids, please. The box stays as it is.", "lid change 3; box_v2"},
		{"en", "The box stays as it is, and three lids please.", "lid change 3; box_v2"},
		{"fr", "Finalement je n’ai plus besoin du bouton. Pour le lid, oui, allez-y.", "lid accept; bouton decline"},
		{"en", "Cancel the box. The lid: yes please.", "lid accept; box_v2 decline"},
		{"en", "Yes please, the lid and the box.", "lid accept; box_v2 accept"},
		{"en", "The lid in red, the box in blue please.", "lid change red; box_v2 change blue"},
		{"en", "lid.stl: two copies please\nbox_v2.stl: no change", "lid change 2; box_v2"},
		{"en", "Cancel the box, keep the lid.", "not clear"},
		{"en", "The lid is lovely. How much would the box be at half the size?", "not clear"},
		{"en", "Yes to the lid. But the box only if it costs less than a dollar.", "not clear"},
		{"en", "Yes please!", "of all"},
		{"en", "The lid in green, please.", "lid change green"}, // the others are not spoken of
		{"en", "Yes to the lid.", "lid accept"},
		{"en", "Go ahead with the box. No need for the lid", "lid decline; box_v2 accept"},
		{"fr", "Votre collègue m'a répondu par téléphone, merci à elle. D'accord pour le bouton et pour l'équerre. Pour le lid, il m'en faudrait six au lieu d'un.", "lid change 6; bouton accept; equerre accept"},
		{"fr", "Le bouton, oui. Le lid en rouge.", "lid change red; bouton accept"},
		{"fr", "Finalement je n'ai plus besoin du bouton, laissez-le tomber. Par contre, il me faudrait deux équerres au lieu d'une.", "bouton decline; equerre change 2"},
		{"fr", "Finalement je n'ai plus besoin du bouton, laissez-le tomber. Par contre, il me faudrait deux machins au lieu d'un.", "not clear"}, // of what?
		{"en", "I no longer need the lid. Two of the others instead, please.", "not clear"},
		{"en", "Yes, without the lid.", "of all"}, // and not clear as a whole
		{"en", "Not the lid.", "of all"},
	} {
		l := &job.Letter{Text: c.text, Language: c.lang, Disposition: job.Answer}
		own, clear := o.ofParts(l, known{}, jobs)
		got := "of all"
		switch {
		case !clear:
			got = "not clear"
		case own != nil:
			got = saidOfParts(own, jobs)
		}
		if got != c.want {
			t.Errorf("%q\n got %s\nwant %s", c.text, got, c.want)
		}
	}
}

func saidOfParts(own map[job.ID]job.Wishes, jobs []job.Job) string {
	var out []string
	for _, j := range jobs {
		w, named := own[j.ID]
		if !named {
			continue
		}
		say := []string{strings.TrimSuffix(j.File, ".stl"), string(w.Answer)}
		if w.Copies != nil {
			say = append(say, fmt.Sprint(*w.Copies))
		}
		say = slices.DeleteFunc(append(say, w.Colours...), func(s string) bool { return s == "" })
		out = append(out, strings.Join(say, " "))
	}
	return strings.Join(out, "; ")
}

// What a patron calls the one part does not keep a yes from being one; a word of its
// name that is not said of a thing stays what it is.
func TestYesToTheOnlyPartByItsName(t *testing.T) {
	r := partReader{cues: rules.Default().Words.Cues["en"], jobs: []job.Job{{ID: "LP-1", File: "stop.stl"}}, names: append(nameWords("stop.stl"), nameWords("drawer stop, not urgent")...)}
	for text, want := range map[string]string{
		"Yes, please print the drawer stop.": "Yes, please print.",
		"Yes to my drawer stop!":             "Yes!",
		"Please stop.":                       "Please stop.",
		"Yes, but do not print the stop yet": "Yes, but do not print yet",
		"Stop the drawer, please":            "Stop, please",
	} {
		if got := r.withoutNames(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// A plain answer about one part is taken also where the letter is left to staff for what
// it says of another; a yes or a change in such a letter waits for them.
func TestPlainAnswerBesideADoubt(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct{ language, text, hook, tray string }{
		{"en", "Hook in white. For the tray I must check with my mother first, it's for her dressing table. Will get back to you on the price also.", "white", ""},
		{"en", "The tray in orange, please. Would the hook be strong enough for a coat?", "", "orange"},
		{"fr", "Le hook en blanc. Pour le tray, je dois d'abord demander à ma mère.", "white", ""},
		{"es", "El hook en blanco. Para el tray tengo que preguntarle antes a mi mamá.", "white", ""},
		{"en", "Yes to the hook. For the tray I must check with my mother first.", "", ""},
	} {
		w.another()
		w.sign()
		id := w.letter("Please print these, one of each, to collect at Central.", "hook.stl", "tray.stl")
		w.work()
		jobs, err := w.l.JobsOf(w.ctx, id)
		w.must(err)
		w.ids, w.thread = []job.ID{jobs[0].ID, jobs[1].ID}, jobs[0].Thread
		w.approve()
		w.work()
		w.edit = func(l *job.Letter) { l.Language = c.language }
		id = w.letter(c.text)
		w.work()
		for k, want := range []string{c.hook, c.tray} {
			if j, err := w.l.Job(w.ctx, w.ids[k]); err != nil || j.Settings.Colour != want || j.Stage != job.Quoted {
				t.Errorf("%q: %s is %s in %q, want %q; %v", c.text, j.File, j.Stage, j.Settings.Colour, want, err)
			}
		}
		if told := w.open(id); !slices.Equal(told, []string{string(ledger.NoticeQuestion)}) {
			t.Errorf("%q: a person is told %v", c.text, told)
		}
	}
}

// Each of several files gets what its own sentence says, also where the words around it
// are no one's grammar, and where one takes the place of what the letter before lacked.
func TestWishesOfEachFile(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct{ text, box, lid string }{
		{"Now I send in mail. Box I need two pieces, white. Lid one piece, black.\nI take in Central library.", "2 white Central", "1 black Central"},
		{"Two boxes in white and one lid in black, please, to collect at Central.", "2 white Central", "1 black Central"},
		{"Both in red, please, one of each. I will collect them at Central.", "1 red Central", "1 red Central"},
	} {
		for _, link := range []bool{false, true} {
			w.another()
			w.sign()
			if link {
				id := w.letter("Please print the things that are here: https://files.example.net/d/box")
				w.work()
				jobs, err := w.l.JobsOf(w.ctx, id)
				w.must(err)
				w.thread = jobs[0].Thread
			}
			id := w.letter(c.text, "box.stl", "lid.stl")
			w.work()
			jobs, err := w.l.JobsOf(w.ctx, id)
			w.must(err)
			got := map[string]string{}
			for _, j := range jobs {
				got[j.File] = fmt.Sprint(j.Asked().Copies, " ", j.Settings.Colour, " ", j.Wishes.Pickup)
			}
			if got["box.stl"] != c.box || got["lid.stl"] != c.lid || len(got) != 2 {
				t.Errorf("%q, after a link %v: %v", c.text, link, got)
			}
		}
	}
	w.another()
	id := w.letter("Hi,\none saucer for a small cactus, green if you have it. Millbrook is my branch.", "saucer.stl")
	w.work()
	if jobs, err := w.l.JobsOf(w.ctx, id); err != nil || len(jobs) != 1 || jobs[0].Settings.Colour != "green" || jobs[0].Asked().Copies != 1 {
		t.Errorf("one saucer for a cactus: %+v, %v", jobs, err)
	}
}

// A sentence ends at a mark with room behind it, at an empty line and with a line too short
// to have been broken, on a short line with several sentences too; no file's name ends one.
func TestSentencesOfALetter(t *testing.T) {
	for text, want := range map[string][]string{
		"Yes to the lid. The bottom in green, please.\nAgnes":                        {"Yes to the lid.", "The bottom in green, please.", "Agnes"},
		"Yes to lid.stl and box.stl":                                                 {"Yes to lid.stl and box.stl"},
		"two lids\none box\n\nthanks":                                                {"two lids", "one box", "thanks"},
		"I would like to have the lid of the box that I sent you, in\nblue. No box!": {"I would like to have the lid of the box that I sent you, in\nblue.", "No box!"},
		"It is fine. I would like to have the lid that I sent, in\nblue":             {"It is fine.", "I would like to have the lid that I sent, in\nblue"},
	} {
		var got []string
		for _, s := range sentences(text) {
			if s = strings.TrimSpace(s); s != "" {
				got = append(got, s)
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
