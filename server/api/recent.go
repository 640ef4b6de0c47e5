package api

import (
	"sync"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// maxRecent bounds the memory that shown conversations may take; each is some tens of kilobytes.
const maxRecent = 256

// recent remembers how conversations last looked, so that one who looks again at an unchanged one costs no inference.
// It is only ever a saving: whatever is missing is computed from the log.
type recent struct {
	mu    sync.Mutex
	shown map[string]*lightoffv1.Conversation
}

func newRecent() *recent { return &recent{shown: map[string]*lightoffv1.Conversation{}} }

// get returns the conversation as it looked after the event, or nil.
func (r *recent) get(id string, event int64) *lightoffv1.Conversation {
	r.mu.Lock()
	defer r.mu.Unlock()
	if c := r.shown[id]; c != nil && c.LastEvent == event {
		return c
	}
	return nil
}

// put remembers a conversation, which must not change any more, unless a later state is known. Where there are too
// many, any other is forgotten.
func (r *recent) put(c *lightoffv1.Conversation) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if known := r.shown[c.Id]; known != nil && known.LastEvent > c.LastEvent {
		return
	}
	r.shown[c.Id] = c
	for id := range r.shown {
		if len(r.shown) <= maxRecent {
			break
		}
		if id != c.Id {
			delete(r.shown, id)
		}
	}
}

// drop forgets a conversation that was deleted.
func (r *recent) drop(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.shown, id)
}
