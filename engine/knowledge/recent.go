package knowledge

import "sync"

// recent keeps what was worked out for the keys that were used last, as long as all of it is no larger than allowed.
// What it holds follows from the key alone, so whether something is still there never shows in an answer. It is safe
// for concurrent use; two who miss at once both work it out.
type recent[V any] struct {
	mu         sync.Mutex
	size       func(V) int64
	most, held int64 // of all sizes
	clock      int64 // counts uses
	values     map[string]*kept[V]
}

type kept[V any] struct {
	value V
	size  int64
	used  int64
}

func newRecent[V any](most int64, size func(V) int64) *recent[V] {
	return &recent[V]{size: size, most: most, values: map[string]*kept[V]{}}
}

func (r *recent[V]) get(key string, work func() V) V {
	if v, ok := r.find(key); ok {
		return v
	}
	v := work()
	r.mu.Lock()
	defer r.mu.Unlock()
	if k, ok := r.values[key]; ok {
		return k.value // somebody was faster; one of equals is as good as the other, and is shared
	}
	r.clock++
	k := &kept[V]{v, r.size(v), r.clock}
	for r.held += k.size; r.held > r.most && len(r.values) > 0; {
		r.drop()
	}
	r.values[key] = k
	return v
}

func (r *recent[V]) find(key string) (v V, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k, ok := r.values[key]
	if !ok {
		return v, false
	}
	r.clock++
	k.used = r.clock
	return k.value, true
}

// drop forgets what was not used for longest.
func (r *recent[V]) drop() {
	oldest, least := "", int64(0)
	for key, k := range r.values {
		if oldest == "" || k.used < least {
			oldest, least = key, k.used
		}
	}
	r.held -= r.values[oldest].size
	delete(r.values, oldest)
}
