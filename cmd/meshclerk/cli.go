package main

// cli lists every subcommand, with the one line that --help shows for it.
type cli struct {
	Demo       demoCmd       `cmd:"" help:"Try everything at once: a built-in mailbox, sample letters, no set-up."`
	Run        runCmd        `cmd:"" help:"Work through the mailbox until told to stop."`
	Doctor     doctorCmd     `cmd:"" help:"Try every connection, folder, right and rule, and say what to mend."`
	Drafts     draftsCmd     `cmd:"" help:"List, show, approve, edit or set aside the drafted replies."`
	Notices    noticesCmd    `cmd:"" help:"List what waits for a person, or record that it is done."`
	Agreements agreementsCmd `cmd:"" help:"Import, add or list signed agreements."`
	Preflight  preflightCmd  `cmd:"" help:"Check mesh files: geometry, fit, time, plastic and price."`
	Letter     letterCmd     `cmd:"" help:"Show how a letter is understood. No network, no ledger."`
	Templates  templatesCmd  `cmd:"" help:"Check the reply templates."`
	Rules      rulesCmd      `cmd:"" help:"Check the house rules."`
	Backup     backupCmd     `cmd:"" help:"Copy the ledger and every stored file while the robot runs."`
	Verify     verifyCmd     `cmd:"" help:"Prove that the ledger and every stored file are whole."`
}
