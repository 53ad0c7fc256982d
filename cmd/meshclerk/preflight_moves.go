package main

import (
	"context"
	"fmt"
	"io"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// writeMoves writes the planned moves of one copy, as it was estimated, into a new file.
func writeMoves(ctx context.Context, to, path string, r *rules.Rules, s job.Settings, report job.Report) error {
	if report.Estimate == nil {
		return fmt.Errorf("no moves were written to %s: the part could not be estimated", to)
	}
	m, _, err := mesh.ReadFile(ctx, path, mesh.Limits{Bytes: r.Caps.MeshBytes, Facets: r.Caps.Facets, CoordinateMM: r.Caps.CoordinateMM})
	if err != nil {
		return err
	}
	s.Printer = report.Estimate.Printer
	in, err := slice.For(r, s, report.Mesh.SizeMM)
	if err != nil {
		return err
	}
	in.Printing.Adhesion = report.Estimate.Adhesion
	return writeNew(to, 0o644, func(w io.Writer) error { return slice.Moves(ctx, m, in, w) })
}
