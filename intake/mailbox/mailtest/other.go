//go:build !unix

package mailtest

import (
	"errors"
	"os"
	"os/exec"
)

func runsAs() (name, group string)         { return "", "" }
func unprivileged(*exec.Cmd, string) error { return errors.New("dovecot runs on Unix only") }
func giveAway(string) error                { return nil }
func kill(p *os.Process)                   { p.Kill() }
