package tagger

import (
	"bytes"
	"compress/flate"
	_ "embed"
	"encoding/binary"
	"errors"
	"io"
	"maps"
	"math"
	"slices"
	"sync"
)

//go:generate go run ./train

//go:embed weights.bin
var weights []byte

// Model is what was learned: a weight for each feature and act, for each feature
// and role, and for each role behind another.
type Model struct {
	Text  [32]byte // SHA-256 of the training text
	acts  table    // a row has what each guess says of each act
	roles table
	next  [Roles + 1][Roles]float64 // row Roles is the beginning of a sentence

	once sync.Once
	exp  [Roles + 1][Roles]float64
}

// follows are the exponentials of next.
func (m *Model) follows() *[Roles + 1][Roles]float64 {
	m.once.Do(func() {
		for q := range m.next {
			for r, v := range m.next[q] {
				m.exp[q][r] = math.Exp(v)
			}
		}
	})
	return &m.exp
}

// table holds a row of weights for each feature. Most features of a letter are
// not known, so that a table that was read has a bit for each that may be, which
// is quicker to ask than the map.
type table struct {
	wide  int
	at    map[feature]int32
	w     []float32
	known []uint64 // nil while the table is learned
}

const knownBits = 1 << 22 // half a megabyte; about one feature in twenty shares a bit

// row is nil for a feature that is not known.
func (t *table) row(f feature) []float32 {
	if t.known != nil && t.known[f%knownBits/64]&(1<<(f%64)) == 0 {
		return nil
	}
	at, ok := t.at[f]
	if !ok {
		return nil
	}
	return t.w[int(at) : int(at)+t.wide]
}

const step = 32 // a weight is kept in steps of 1/32, between -4 and 4

// Bytes writes the model: the hash of its text, the steps between roles, and for
// each feature its distance from the one before, which weights it has, and these.
func (m *Model) Bytes() []byte {
	out := slices.Clone(m.Text[:])
	for q := range m.next {
		for _, v := range m.next[q] {
			out = append(out, byte(toStep(v)))
		}
	}
	return squeeze(m.roles.bytes(m.acts.bytes(out)))
}

func squeeze(b []byte) []byte {
	var out bytes.Buffer
	w, err := flate.NewWriter(&out, flate.BestCompression)
	if err != nil {
		panic(err) // the level is a constant
	}
	w.Write(b) // into memory
	w.Close()
	return out.Bytes()
}

func toStep(v float64) int8 { return int8(math.Round(max(-127, min(127, v*step)))) }

func (t *table) bytes(out []byte) []byte {
	var rows []byte
	n, last := 0, feature(0)
	for _, f := range slices.Sorted(maps.Keys(t.at)) {
		has, ws := uint64(0), []byte(nil)
		for k, v := range t.row(f) {
			if s := toStep(float64(v)); s != 0 {
				has, ws = has|1<<k, append(ws, byte(s))
			}
		}
		if has != 0 {
			rows = binary.AppendUvarint(rows, uint64(f-last))
			rows = append(binary.AppendUvarint(rows, has), ws...)
			n, last = n+1, f
		}
	}
	return append(binary.AppendUvarint(out, uint64(n)), rows...)
}

// ParseModel reads what Bytes wrote.
func ParseModel(b []byte) (*Model, error) {
	m := &Model{acts: table{wide: int(guesses) * int(Acts)}, roles: table{wide: int(Roles)}}
	b, err := io.ReadAll(flate.NewReader(bytes.NewReader(b)))
	if err != nil {
		return nil, errors.New("the weights are cut short")
	}
	r := bytes.NewReader(b)
	if _, err := r.Read(m.Text[:]); err != nil {
		return nil, errors.New("the weights are cut short")
	}
	for q := range m.next {
		for k := range m.next[q] {
			v, err := r.ReadByte()
			if err != nil {
				return nil, errors.New("the weights are cut short")
			}
			m.next[q][k] = float64(int8(v)) / step
		}
	}
	return m, errors.Join(m.acts.parse(r), m.roles.parse(r))
}

func (t *table) parse(r *bytes.Reader) error {
	n, err := binary.ReadUvarint(r)
	if err != nil || n > uint64(r.Len()) {
		return errors.New("the weights are cut short")
	}
	t.at, t.w, t.known = make(map[feature]int32, n), make([]float32, int(n)*t.wide), make([]uint64, knownBits/64)
	last := feature(0)
	for k := range int(n) {
		ahead, err1 := binary.ReadUvarint(r)
		has, err2 := binary.ReadUvarint(r)
		if err := errors.Join(err1, err2); err != nil {
			return errors.New("the weights are cut short")
		}
		last += feature(ahead)
		t.at[last] = int32(k * t.wide)
		t.known[last%knownBits/64] |= 1 << (last % 64)
		for a := range t.wide {
			if has&(1<<a) != 0 {
				v, _ := r.ReadByte()
				t.w[k*t.wide+a] = float32(int8(v)) / step
			}
		}
	}
	return nil
}

// learned is the model whose weights are part of the program.
var learned = sync.OnceValue(func() *Model {
	m, err := ParseModel(weights)
	if err != nil {
		panic("tagger: " + err.Error() + "; run go generate ./intake/tagger")
	}
	return m
})

// TextHash is the SHA-256 of the text that the weights of the program were learned from.
func TextHash() [32]byte { return learned().Text }
