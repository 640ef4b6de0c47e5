package knowledge

import "sync"

// recent keeps what was worked out for the keys that were used last. What it holds follows from the key alone, so whether
// something is still there never shows in an answer. It is safe for concurrent use; two who miss at once both work it out.
type recent[V any] struct {
	mu     sync.Mutex
	most   int
	clock  int64 // counts uses
	values map[string]*kept[V]
}

type kept[V any] struct {
	value V
	used  int64
}

func newRecent[V any](most int) *recent[V] {
	return &recent[V]{most: most, values: map[string]*kept[V]{}}
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
	if len(r.values) >= r.most {
		r.drop()
	}
	r.clock++
	r.values[key] = &kept[V]{v, r.clock}
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
	delete(r.values, oldest)
}
