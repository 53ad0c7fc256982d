package mesh

// sets is a union-find over 0..n.
type sets []int32

func newSets(n int) sets {
	s := make(sets, n)
	for i := range s {
		s[i] = int32(i)
	}
	return s
}

func (s sets) find(i int32) int32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

// union joins two sets; the lower root stays.
func (s sets) union(a, b int32) {
	a, b = s.find(a), s.find(b)
	if a < b {
		s[b] = a
	} else {
		s[a] = b
	}
}

// number numbers the sets from 0 in the order of their first members.
func (s sets) number() (of []int32, count int) {
	of = make([]int32, len(s))
	for i := range s {
		if root := s.find(int32(i)); root == int32(i) {
			of[i] = int32(count)
			count++
		} else {
			of[i] = of[root]
		}
	}
	return of, count
}
