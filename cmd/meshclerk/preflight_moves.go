package main

import (
	"context"
	"fmt"
	"io"

	"meshclerk/intake/job"
	"meshclerk/intake/preflight"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// writeMoves writes the planned moves of one copy, as it was estimated, into a new file.
func writeMoves(ctx context.Context, to, path string, r *rules.Rules, s job.Settings, report job.Report) error {
	if report.Estimate == nil {
		return fmt.Errorf("no moves were written to %s: the part could not be estimated", to)
	}
	f, err := preflight.Open(ctx, path, r.Caps)
	if err != nil {
		return err
	}
	s.Printer = report.Estimate.Printer
	in, err := slice.For(r, s, report.Mesh.SizeMM)
	if err != nil {
		return err
	}
	in.Printing.Adhesion = report.Estimate.Adhesion
	return writeNew(to, 0o644, func(w io.Writer) error { return slice.Moves(ctx, f.Mesh, in, w) })
}
