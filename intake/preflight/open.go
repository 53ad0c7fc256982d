package preflight

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"

	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// File is a mesh file that was opened.
type File struct {
	Mesh  *mesh.Mesh // in the file's own coordinates and size
	Facts mesh.Facts

	path string
}

// Open reads a mesh file within the house's caps; every room that needs a mesh opens
// it here. The errors are those of mesh.ReadFile. Facts are given with an error too.
func Open(ctx context.Context, path string, caps rules.Caps) (File, error) {
	m, facts, err := mesh.ReadFile(ctx, path, limits(caps))
	return File{m, facts, path}, err
}

// readBack reads a mesh that was just written, as Open will.
func readBack(ctx context.Context, written []byte, caps rules.Caps) (*mesh.Mesh, mesh.Facts, error) {
	return mesh.Read(ctx, bytes.NewReader(written), int64(len(written)), limits(caps))
}

func limits(caps rules.Caps) mesh.Limits {
	return mesh.Limits{Bytes: caps.MeshBytes, Facets: caps.Facets, CoordinateMM: caps.CoordinateMM}
}

// SHA256 gives the hash of the file's bytes, hex.
func (f File) SHA256() (string, error) {
	from, err := os.Open(f.path)
	if err != nil {
		return "", err
	}
	defer from.Close()
	h := sha256.New()
	if _, err := io.Copy(h, from); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
