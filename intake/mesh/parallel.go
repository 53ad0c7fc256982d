package mesh

import "meshclerk/intake/parallel"

// spread calls f on consecutive ranges that cover 0..n, side by side. The
// ranges depend on n and grain alone, so that sums over them come out the same
// on every machine; part numbers them.
func spread(n, grain int, f func(part, lo, hi int)) {
	parallel.Do((n+grain-1)/grain, func(p int) { f(p, p*grain, min(n, (p+1)*grain)) })
}
