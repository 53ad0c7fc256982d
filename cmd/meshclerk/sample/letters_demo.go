package sample

import "slices"

// Letters gives the demo's letters in the order they arrive. The people are
// invented; the meshes are made by the generator of intake/mesh.
func Letters() ([]Letter, error) {
	f, err := makeFiles()
	if err != nil {
		return nil, err
	}
	return slices.Concat(ordinary(f), troubled(f), notRequests(f)), nil
}

// ordinary letters can be quoted, or need no more than an agreement.
func ordinary(f files) []Letter {
	return []Letter{
		{
			Key: "good", FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "pass", HTML: true,
			Subject: "Shelf bracket",
			Text:    "Hello,\n\nplease print one of the attached shelf bracket, in blue PLA. I would collect it at Millbrook. My number is 555-0142.\n\nThank you,\nAmara\n",
			Files:   []File{f.bracket},
		},
		{
			Key: "no-agreement", FromName: "Tomas Lindgren", FromAddress: "tomas.lindgren@example.net", DMARC: "pass",
			Subject: "knob for my dresser",
			Text:    "Hi! I saw the poster at the Central branch. Can you print 3 of these knobs in black for me?\n\nTomas\n",
			Files:   []File{f.knob},
		},
		{
			Key: "expired-agreement", FromName: "Priya Raman", FromAddress: "priya.raman@example.com", DMARC: "pass",
			Subject: "Another vase",
			Text:    "Good morning,\n\nhere is another vase like the one you printed for me two years ago. White, please, 12 cm tall. Pickup at Fernhill.\n\nPriya Raman\n",
			Files:   []File{f.vase},
		},
		{
			Key: "two-files", FromName: "Jonas Weller", FromAddress: "jonas.weller@example.org", DMARC: "pass", HTML: true,
			Subject: "box with lid",
			Text:    "Dear print desk,\n\nthe zip has two parts, a box and its lid. One of each in green. I will pick them up at Harbour Road.\n\nJonas Weller\nCard 2900 4417 8823 1\n",
			Files:   []File{f.boxAndLid},
		},
		{
			Key: "french", FromName: "Hélène Marchand", FromAddress: "helene.marchand@example.com", DMARC: "pass",
			Subject: "Impression d'un support",
			Text:    "Bonjour,\n\npourriez-vous imprimer le support ci-joint en deux exemplaires, en rouge ? Je passerai le chercher à Central.\n\nMerci beaucoup,\nHélène Marchand\n",
			Files:   []File{f.stand},
		},
		{
			Key: "forwarded", FromName: "Owen Dufresne", FromAddress: "owen.dufresne@larkfield.example", DMARC: "pass",
			Subject: "Fwd: name plate",
			Text:    "This came to my own address.\n\n---------- Forwarded message ----------\nFrom: Wei Tan <wei.tan@example.net>\nDate: Mon, 23 Nov 2026 09:12:00 -0500\nSubject: name plate\nTo: Owen Dufresne <owen.dufresne@larkfield.example>\n\nHello Mr. Dufresne, could the library print this name plate in yellow for my door? One is enough. Wei\n",
			Files:   []File{f.plate},
		},
	}
}

// troubled letters cannot be quoted as they are.
func troubled(f files) []Letter {
	return []Letter{
		{
			Key: "wrong-type", FromName: "Lucía Ferrer", FromAddress: "lucia.ferrer@example.org", DMARC: "pass",
			Subject: "3D print request",
			Text:    "Hello, attached is my drawing of a key hook. Two in grey please.\n\nLucía\n",
			Files:   []File{f.object},
		},
		{
			Key: "forgotten", FromName: "Ben Achterberg", FromAddress: "ben.achterberg@example.net", DMARC: "pass",
			Subject: "print this please",
			Text:    "Hi,\n\ncould you please 3D print the attached file for my daughter's science project? Orange would be great.\n\nThanks\nBen\n",
		},
		{
			Key: "too-long", FromName: "Greta Solheim", FromAddress: "greta.solheim@example.com", DMARC: "pass",
			Subject: "Planter, strong please",
			Text:    "Dear library,\n\nI would like this planter printed once in PLA with 60% infill, colour green. Central is best for pickup.\n\nKind regards,\nGreta Solheim\n",
			Files:   []File{f.planter},
		},
		{
			Key: "too-big", FromName: "Omar Benali", FromAddress: "omar.benali@example.org", DMARC: "pass",
			Subject: "Shield for a school play",
			Text:    "Hello! This is a shield for our school play. One, in grey. Can pick up at Central.\nOmar\n",
			Files:   []File{f.shield},
		},
		{
			Key: "holes", FromName: "Ingrid Falk", FromAddress: "ingrid.falk@example.net", DMARC: "pass",
			Subject: "dice tower",
			Text:    "Hi there, one of these in purple please, Millbrook branch.\n/Ingrid\n",
			Files:   []File{f.holed},
		},
		{
			Key: "inches", FromName: "Samuel Adeyemi", FromAddress: "samuel.adeyemi@example.com", DMARC: "pass",
			Subject: "drawer stop",
			Text:    "Please print 4 drawer stops in white. Pickup Fernhill.\n\nSamuel Adeyemi\n",
			Files:   []File{f.inches},
		},
		{
			Key: "cut-short", FromName: "Yara Costa", FromAddress: "yara.costa@example.org", DMARC: "pass",
			Subject: "gear for the kids' clock",
			Text:    "Hello,\nmay I have one of these in yellow? Central.\nYara\n",
			Files:   []File{f.cutShort},
		},
		{
			Key: "unproven", FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: "fail",
			Subject: "One more bracket",
			Text:    "Please print ten of these in white and put it on my account.\n",
			Files:   []File{f.bracket},
		},
	}
}

// notRequests are letters that the robot must leave alone.
func notRequests(files) []Letter {
	return []Letter{
		{
			Key: "out-of-office", FromName: "Dana Whitlock", FromAddress: "dana.whitlock@example.com", DMARC: "pass",
			Subject: "Automatic reply: Your 3D print",
			Text:    "I am away until Monday and will print nothing until then.\n",
			Headers: map[string]string{"Auto-Submitted": "auto-replied"},
		},
		{
			Key: "opening-hours", FromName: "Rosa Vidal", FromAddress: "rosa.vidal@example.net", DMARC: "pass",
			Subject: "Opening hours",
			Text:    "Hello, is the Harbour Road branch open on Sunday afternoon? Thank you, Rosa\n",
		},
		{
			Key: "newsletter", FromName: "Maker News", FromAddress: "news@list.example.com", DMARC: "pass",
			Subject: "This week: ten things to print",
			Text:    "Ten things to print this week. To unsubscribe, visit https://list.example.com/off\n",
			Headers: map[string]string{"List-Id": "Maker News <news.list.example.com>", "Precedence": "bulk"},
		},
	}
}
