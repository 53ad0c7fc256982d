// Package tagger learns, from letters that people have marked, what a sentence
// does (agrees, refuses, asks, wishes …) and what a word stands for (a count, a
// colour, a size …), and says how sure it is.
//
// The grammar of package wishes knows values, units, dates and corrections, and
// is right where it reads something; but strangers say "crack on", "échenla a la
// máquina" or "c'est tiguidou", and no list holds all of that. The two vote there.
//
// Two models read a letter, sentence by sentence:
//
//   - Acts: one logistic model for each act, over words, two and three words in a
//     row, parts of words (three to five letters), the cues of the house's lists,
//     the sentence's last sign, its place in the letter and its neighbours. They are
//     fitted twice: by the sentence itself, then beside what the others of its letter
//     probably do, since an answer nearly always agrees, refuses, asks or wishes
//     somewhere. A yes
//     needs at least one whole word, sign or cue that speaks for it: likeness of
//     spelling alone is never a yes.
//   - Roles: a linear-chain conditional random field over the words of a sentence,
//     with words, sorts of words (number, colour, unit, month, branch …) and cues
//     up to three places to each side, the words around a value in no order, and
//     the acts of its sentence. The role is that of the best sequence (Viterbi), how
//     sure it is that of the token's marginal (forward and backward).
//
// Features are 32-bit hashes. Both learn by AdaGrad with a pull towards zero, in
// a fixed order, so that one text gives one set of weights. The training text is
// testdata/wishes/marked; "go generate ./intake/tagger" writes weights.bin from it,
// which holds the text's SHA-256, and words.sha256 beside it, that of the lists of
// words.toml behind the features ([cues], [replies], sorts of words): a test tells when
// either is stale. Words that only the grammar needs stand in [guards].
//
// What was tried, leaving out one writer of each language at a time (1,190 answers,
// of which 641 agree and hold nothing back; recall of these at a precision of .95):
// one pass .468, with two passes .563; more or fewer rounds, another pace or pull,
// surer long sentences changed little (.44 to .48). There is too little text, not
// too small a model: of words that no training letter has, nothing is known.
//
// Of the roles, 35 to 40 in a hundred are missed or wrong by the best sequence alone
// (TestHeldOut has the figures); only those that are surer than .8 are used, and
// only where the grammar has nothing to say against them.
//
// Work and memory are linear in the letter, of which 32 kB are read, and a
// sentence has no more than 120 tokens.
package tagger
