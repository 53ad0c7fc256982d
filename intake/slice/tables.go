package slice

// buckets sorts numbered things into numbered strips, in two passes: count
// everything, place, then put everything.
type buckets struct {
	starts []int32
	items  []int32
}

func (b *buckets) begin(n int) {
	b.starts = append(b.starts[:0], make([]int32, n+2)...)
}

func (b *buckets) count(s int) { b.starts[s+2]++ }

func (b *buckets) place() {
	for i := 2; i < len(b.starts); i++ {
		b.starts[i] += b.starts[i-1]
	}
	n := int(b.starts[len(b.starts)-1])
	if cap(b.items) < n {
		b.items = make([]int32, n+n/2)
	}
	b.items = b.items[:n]
}

func (b *buckets) put(s int, item int32) {
	b.items[b.starts[s+1]] = item
	b.starts[s+1]++
}

func (b *buckets) len() int { return len(b.starts) - 2 }

func (b *buckets) of(s int) []int32 { return b.items[b.starts[s]:b.starts[s+1]] }

// pairTable numbers pairs of 32-bit words, by open addressing. A map of the
// language does the same at several times the cost, and this is the inner loop.
type pairTable struct {
	keys  []uint64
	ids   []int32 // id+1; 0 is free
	count int
}

func (t *pairTable) reset(n int) {
	size := 16
	for size < 2*n {
		size *= 2
	}
	if len(t.ids) < size {
		t.keys, t.ids = make([]uint64, size), make([]int32, size)
	} else {
		clear(t.ids)
	}
	t.count = 0
}

// find returns the number of a pair; a new pair gets the number given.
func (t *pairTable) find(key uint64, id int32) (int32, bool) {
	if 2*t.count >= len(t.ids) {
		t.grow()
	}
	mask := uint64(len(t.ids) - 1)
	h := key * 0x9E3779B97F4A7C15 // Knuth's multiplicative hashing: 2^64 over the golden ratio
	for i := (h >> 32) & mask; ; i = (i + 1) & mask {
		if t.ids[i] == 0 {
			t.keys[i], t.ids[i] = key, id+1
			t.count++
			return id, true
		}
		if t.keys[i] == key {
			return t.ids[i] - 1, false
		}
	}
}

// get returns the number of a pair that has one.
func (t *pairTable) get(key uint64) (int32, bool) {
	mask := uint64(len(t.ids) - 1)
	h := key * 0x9E3779B97F4A7C15
	for i := (h >> 32) & mask; t.ids[i] != 0; i = (i + 1) & mask {
		if t.keys[i] == key {
			return t.ids[i] - 1, true
		}
	}
	return 0, false
}

func (t *pairTable) grow() {
	old := *t
	t.keys, t.ids, t.count = make([]uint64, 2*len(old.ids)), make([]int32, 2*len(old.ids)), 0
	for i, id := range old.ids {
		if id != 0 {
			t.find(old.keys[i], id-1)
		}
	}
}

func (p point) key() uint64 { return uint64(uint32(p.x))<<32 | uint64(uint32(p.y)) }

type pointTable struct{ pairTable }

func (t *pointTable) number(p point, id int32) (int32, bool) {
	return t.find(p.key(), id)
}

type edgeTable struct{ pairTable }

func (t *edgeTable) find(a, b, id int32) (int32, bool) {
	return t.pairTable.find(uint64(uint32(a))<<32|uint64(uint32(b)), id)
}
