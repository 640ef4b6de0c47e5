//go:build !js

package api

import (
	"maps"
	"sync"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// maxRecent bounds the memory that shown conversations may take; each is some tens of kilobytes.
const maxRecent = 256

// recent remembers how conversations last looked, so that one who looks again at an unchanged one costs no inference.
// It is only ever a saving: whatever is missing is computed from the log.
type recent struct {
	mu    sync.Mutex
	shown map[look]*lightoffv1.Conversation
}

// look is a conversation in a language, in the one it was opened in where that is empty, by a version of the model.
type look struct{ id, locale, version string }

func newRecent() *recent { return &recent{shown: map[look]*lightoffv1.Conversation{}} }

// get returns the conversation as it looked after the event, or nil.
func (r *recent) get(l look, event int64) *lightoffv1.Conversation {
	r.mu.Lock()
	defer r.mu.Unlock()
	if c := r.shown[l]; c != nil && c.LastEvent == event {
		return c
	}
	return nil
}

// put remembers a conversation, which must not change any more, unless a later state is known. Where there are too
// many, any other is forgotten.
func (r *recent) put(l look, c *lightoffv1.Conversation) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if known := r.shown[l]; known != nil && known.LastEvent > c.LastEvent {
		return
	}
	r.shown[l] = c
	for other := range r.shown {
		if len(r.shown) <= maxRecent {
			break
		}
		if other != l {
			delete(r.shown, other)
		}
	}
}

// drop forgets a conversation that was deleted.
func (r *recent) drop(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	maps.DeleteFunc(r.shown, func(l look, _ *lightoffv1.Conversation) bool { return l.id == id })
}
