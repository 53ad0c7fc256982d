package mesh_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// A file is read, cleaned and measured.
func ExampleRead() {
	var file bytes.Buffer
	if err := mesh.WriteSTL(&file, shapes.BoxWithVoid(20, 20, 20, 5)); err != nil {
		panic(err)
	}
	ctx := context.Background()
	m, facts, err := mesh.Read(ctx, bytes.NewReader(file.Bytes()), int64(file.Len()), mesh.Limits{})
	if err != nil {
		panic(err)
	}
	top, err := mesh.Examine(ctx, m, facts, mesh.Options{})
	if err != nil {
		panic(err)
	}
	s := top.Shape
	fmt.Printf("%d facets, %d vertices after welding\n", s.Triangles, s.Vertices)
	fmt.Printf("watertight %v, volume %.0f mm3, %d shells, %d part\n", s.Watertight, s.VolumeMM3, s.Shells, s.Parts)
	// Output:
	// 24 facets, 16 vertices after welding
	// watertight true, volume 7000 mm3, 2 shells, 1 part
}

// What is no STL file is refused with a sentence of the book, for the person who sent it.
func ExampleRead_refused() {
	file := strings.NewReader("solid part\nendsolid part\n")
	_, _, err := mesh.Read(context.Background(), file, file.Size(), mesh.Limits{})
	bad, ok := errors.AsType[*mesh.Unreadable](err)
	fmt.Println(ok, bad.What.Key)
	// Output: true findings.unread.no-facets
}

// Mend closes what can be closed without guessing, and lists what it did.
func ExampleMend() {
	holed := shapes.Without(shapes.Box(20, 20, 20), 3)
	whole, done, err := mesh.Mend(context.Background(), holed, mesh.MendOptions{})
	if err != nil {
		panic(err)
	}
	fmt.Println(done[0])
	fmt.Println(len(whole.Triangles), "facets")
	// Output:
	// mending.closed {"n":1}
	// 12 facets
}

// A ray through a box with a hole meets both faces of the wall on either side.
func ExampleBVH_RayAll() {
	box := shapes.BoxWithHole(20, 20, 20, 8)
	tree, b := mesh.NewBVH(box), box.Bounds()
	middle := b.Min.Add(b.Max).Mul(0.5)
	from := mesh.Vec{b.Min[0] - 1, middle[1] + 0.1, middle[2] + 0.2}
	for _, hit := range tree.RayAll(from, mesh.Vec{1, 0, 0}, 0, 100, nil) {
		fmt.Printf("%.0f mm ", hit.T)
	}
	fmt.Println()
	// Output: 1 mm 7 mm 15 mm 21 mm
}
