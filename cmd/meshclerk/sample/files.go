package sample

import (
	"archive/zip"
	"bytes"
	"fmt"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// The media types that .stl comes as: the registered one (IANA, 2018) and what
// mail programs make of it that do not know it.
const (
	modelSTL = "model/stl"
	oldSTL   = "application/vnd.ms-pki.stl"
	octets   = "application/octet-stream"
)

// files are the attachments of the demo's letters.
type files struct {
	bracket, knob, vase, boxAndLid, stand, plate     File
	object, planter, shield, holed, inches, cutShort File
}

func makeFiles() (files, error) {
	var f files
	var err error
	stl := func(into *File, name, media string, m *mesh.Mesh) {
		var b bytes.Buffer
		if e := mesh.WriteSTL(&b, m); e != nil && err == nil {
			err = fmt.Errorf("sample file %s: %w", name, e)
		}
		*into = File{name, media, b.Bytes()}
	}
	stl(&f.bracket, "shelf-bracket.stl", modelSTL, shapes.Bracket(60, 18))
	stl(&f.knob, "dresser_knob.STL", oldSTL, shapes.Knob(16, 24))
	stl(&f.vase, "vase.stl", octets, shapes.Vase(90, 28, 1.6))
	stl(&f.stand, "support téléphone.stl", modelSTL, shapes.Stand(80, 90, 60, 4))
	stl(&f.plate, "WEI.stl", octets, shapes.NamePlate("WEI", 18))
	stl(&f.planter, "planter-large.stl", modelSTL, shapes.Planter(95, 180, 9))
	stl(&f.shield, "shield.stl", modelSTL, shapes.Shield(200, 4))
	stl(&f.holed, "dice tower.stl", octets, shapes.DiceTower(50, 50, 110, 3))
	stl(&f.inches, "drawer stop.stl", modelSTL, shapes.Scaled(shapes.Box(40, 15, 10), 1/25.4, 1/25.4, 1/25.4))
	stl(&f.cutShort, "gear.stl", modelSTL, shapes.Gear(16, 2, 8, 6))
	f.cutShort.Data = f.cutShort.Data[:len(f.cutShort.Data)*2/3]
	f.object = File{"key-hook.obj", octets, objText()}
	if err != nil {
		return f, err
	}
	f.boxAndLid, err = zipped("box.zip", map[string]*mesh.Mesh{
		"box/box.stl": shapes.OpenBox(60, 40, 30, 2), "box/lid.stl": shapes.Lid(60, 40, 2, 0.3)}, "box/box.stl", "box/lid.stl")
	return f, err
}

// zipped packs meshes in the given order.
func zipped(name string, in map[string]*mesh.Mesh, order ...string) (File, error) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, path := range order {
		w, err := z.Create(path)
		if err != nil {
			return File{}, err
		}
		if err := mesh.WriteSTL(w, in[path]); err != nil {
			return File{}, err
		}
	}
	err := z.Close()
	return File{name, "application/zip", b.Bytes()}, err
}

// objText is a box in the OBJ format, which the house does not take.
func objText() []byte {
	var b bytes.Buffer
	b.WriteString("# key hook\n")
	m := shapes.Box(30, 12, 8)
	for _, v := range m.Vertices {
		fmt.Fprintf(&b, "v %g %g %g\n", v[0], v[1], v[2])
	}
	for _, t := range m.Triangles {
		fmt.Fprintf(&b, "f %d %d %d\n", t[0]+1, t[1]+1, t[2]+1)
	}
	return b.Bytes()
}
