package sim

// Stream is a counter-based source of uniform bits: value n depends on the seed, the name and
// n alone, so that what one consumer draws never shifts what another sees.
type Stream struct{ key uint64 }

// NewStream returns the stream of one named consumer.
func NewStream(seed uint64, name string) Stream {
	const offset, prime = 14695981039346656037, 1099511628211 // FNV-1a, 64 bits
	h := uint64(offset)
	for i := range len(name) {
		h = (h ^ uint64(name[i])) * prime
	}
	return Stream{key: mix(h ^ mix(seed))}
}

// At returns value n: 64 uniform bits.
func (s Stream) At(n uint64) uint64 { return mix(mix(s.key+n*0x9e3779b97f4a7c15) ^ s.key) }

// mix is a bijection of 64 bits in which every input bit moves about half of the output bits
// (the finalizer of the splitmix generator).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
