package main

// cli lists every subcommand, with the one line that --help shows for it.
type cli struct {
	Demo        demoCmd        `cmd:"" help:"Try everything at once: a built-in mailbox, sample letters, no set-up."`
	Run         runCmd         `cmd:"" help:"Work through the mailbox until told to stop."`
	Doctor      doctorCmd      `cmd:"" help:"Try every connection, folder, right and rule, and say what to mend."`
	Drafts      draftsCmd      `cmd:"" help:"List, show, approve, edit or set aside the drafted replies."`
	Notices     noticesCmd     `cmd:"" help:"List what waits for a person, or record that it is done."`
	Answers     answersCmd     `cmd:"" help:"List the letters that were left to a person, and say what one means."`
	Retry       retryCmd       `cmd:"" help:"List what the robot gave up, or have it tried again once its cause is mended."`
	Restored    restoredCmd    `cmd:"" help:"After a backup was restored: show what left since then, and let the service go on."`
	Clock       clockCmd       `cmd:"" help:"Show whether the clock is believed, or say that it is right."`
	Jobs        jobsCmd        `cmd:"" help:"List and show jobs; what is done at the printer and at the counter; job sheets; calls."`
	Printed     printedCmd     `cmd:"" help:"Record what a finished print really took; the patron is told that it is ready."`
	Calibration calibrationCmd `cmd:"" help:"Show what finished prints taught about the estimates."`
	Report      reportCmd      `cmd:"" help:"Sum up a month: jobs, patrons, hours, grams, income, times, refusals."`
	Accounts    accountsCmd    `cmd:"" help:"Turn a password into the line for the accounts file of the staff page."`
	Agreements  agreementsCmd  `cmd:"" help:"Import, add or list signed agreements."`
	Preflight   preflightCmd   `cmd:"" help:"Check mesh files: geometry, fit, time, plastic and price."`
	Mend        mendCmd        `cmd:"" help:"Mend a mesh file and set it on the bed the advised way up, into a new file."`
	Letter      letterCmd      `cmd:"" help:"Show how a letter is understood. No network, no ledger."`
	Templates   templatesCmd   `cmd:"" help:"Check, preview or copy the reply templates."`
	Rules       rulesCmd       `cmd:"" help:"Check the house rules."`
	Forget      forgetCmd      `cmd:"" help:"Remove everything personal about a patron; figures stay."`
	Export      exportCmd      `cmd:"" help:"Give everything on record about a patron."`
	Backup      backupCmd      `cmd:"" help:"Copy the ledger and every stored file while the robot runs."`
	Verify      verifyCmd      `cmd:"" help:"Prove that the ledger and every stored file are whole."`
}
