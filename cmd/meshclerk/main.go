// Command meshclerk takes in the letters of a public library's 3D-print
// service, checks and prices the parts in them, drafts the replies, and sends
// what a person has approved.
//
// There is one file per subcommand. main only wires: it hands arguments,
// environment and streams to run, and turns the error into an exit code.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"meshclerk/templates"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := run(ctx, os.Args[1:], os.Getenv, os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(exitCode(err, os.Stderr))
}

// exitCode prints the error for a person and gives the process's exit code:
// 0 for done, 2 for wrong use, 1 for everything else.
func exitCode(err error, stderr io.Writer) int {
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "meshclerk: %v\n", err)
	if _, wrong := errors.AsType[usageError](err); wrong {
		return 2
	}
	return 1
}

// usageError is a command line that cannot be carried out as it was written.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// wrongUse makes a usageError.
func wrongUse(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

// env is what a subcommand may touch of the world outside.
type env struct {
	ctx    context.Context
	getenv func(string) string
	in     io.Reader
	out    io.Writer
	err    io.Writer

	config, rules string               // which installation the command is about
	said          *templates.Localizer // its words, once they were asked for
}

func run(ctx context.Context, args []string, getenv func(string) string, stdin io.Reader, stdout, stderr io.Writer) error {
	var c cli
	e := &env{ctx: ctx, getenv: getenv, in: stdin, out: stdout, err: stderr}
	helped := false
	parser, err := kong.New(&c,
		kong.Name("meshclerk"),
		kong.Description("Takes in a library's 3D-print letters, checks and prices the parts, drafts the replies, and sends what a person has approved."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(int) { helped = true }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Vars{"config": getenv("MESHCLERK_CONFIG")},
		kong.Bind(e),
	)
	if err != nil {
		return err
	}
	kctx, err := parser.Parse(args)
	if helped {
		return nil
	}
	if err != nil {
		return wrongUse("%w (meshclerk --help lists the commands)", err)
	}
	if err := kctx.Run(); err != nil {
		return wordedError{err, e.words().Error(err)}
	}
	return nil
}
