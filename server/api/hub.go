//go:build !js

package api

import (
	"sync"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// hub carries changed conversations to whoever watches them in this process. A watcher that is slow misses states in
// between but never the newest, and holds nobody up.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[*watcher]struct{} // by conversation id
	lists    map[chan struct{}]struct{}       // of those who watch all of them; each of capacity 1
}

// watcher receives the newest state that it has not yet taken. Only the hub sends, under its lock.
type watcher struct {
	news chan *lightoffv1.Conversation // of capacity 1
	// stale tells that another server may have added events up to the number; of capacity 1.
	stale chan int64
}

func newHub() *hub {
	return &hub{watchers: map[string]map[*watcher]struct{}{}, lists: map[chan struct{}]struct{}{}}
}

// watchAll tells of every change until stop is called.
func (h *hub) watchAll() (changed <-chan struct{}, stop func()) {
	c := make(chan struct{}, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.lists[c] = struct{}{}
	return c, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.lists, c)
	}
}

// tellLists tells those who watch all; the lock is held.
func (h *hub) tellLists() {
	for c := range h.lists {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// watch starts watching a conversation until stop is called.
func (h *hub) watch(id string) (w *watcher, stop func()) {
	w = &watcher{news: make(chan *lightoffv1.Conversation, 1), stale: make(chan int64, 1)}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.watchers[id] == nil {
		h.watchers[id] = map[*watcher]struct{}{}
	}
	h.watchers[id][w] = struct{}{}
	return w, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.watchers[id], w)
		if len(h.watchers[id]) == 0 {
			delete(h.watchers, id)
		}
	}
}

// publish hands a conversation, which must not change any more, to its watchers. Two writers may publish in the wrong
// order, so an older state never replaces a newer one.
func (h *hub) publish(c *lightoffv1.Conversation) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.tellLists()
	for w := range h.watchers[c.Id] {
		newest := c
		select {
		case waiting := <-w.news:
			if waiting.LastEvent > c.LastEvent {
				newest = waiting
			}
		default:
		}
		w.news <- newest
	}
}

// stale tells those who watch a conversation, or, without an id, any, that there may be events up to the number.
func (h *hub) stale(id string, event int64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.tellLists()
	for watched, watchers := range h.watchers {
		if id != "" && watched != id {
			continue
		}
		for w := range watchers {
			select {
			case waiting := <-w.stale:
				w.stale <- max(waiting, event)
			default:
				w.stale <- event
			}
		}
	}
}
