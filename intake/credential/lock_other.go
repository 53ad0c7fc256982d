//go:build !unix

package credential

import "context"

// lock does nothing where there is no flock.
func lock(context.Context, string) (func(), error) { return func() {}, nil }
