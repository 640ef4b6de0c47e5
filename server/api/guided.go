//go:build !js

package api

import (
	"container/list"
	"crypto/sha256"
	"encoding/json"
	"strconv"
	"sync"

	"lightoff/engine/diagnosis"
)

// maxGuided bounds the memory that remembered guidance may take; each is some tens of kilobytes.
const maxGuided = 512

// guided remembers what the engine said lately. Conversations begin alike: the first is asked the same as the
// thousandth, so most openings and safety cards cost no inference. Nothing in it leads back to a conversation.
type guided struct {
	mu      sync.Mutex
	known   map[digest]*list.Element
	order   *list.List               // of *guidedEntry, least lately used first
	running map[digest]chan struct{} // closed when the engine has answered
}

type digest [sha256.Size]byte

type guidedEntry struct {
	key      digest
	guidance *diagnosis.Guidance
}

func newGuided() *guided {
	return &guided{known: map[digest]*list.Element{}, order: list.New(), running: map[digest]chan struct{}{}}
}

// keyOf digests what guidance depends on: the model's version, what was told and the tools, not when, in which words,
// or in which conversation.
func keyOf(version string, state diagnosis.Conversation) digest {
	what := struct {
		Version string
		Request diagnosis.Request
		Skipped []string
		Feared  []diagnosis.Offer
		Before  [2]diagnosis.Request
		Ran     string
	}{Version: version, Request: state.Request()}
	for _, t := range state.Told {
		if t.Skipped {
			what.Skipped = append(what.Skipped, t.Observation.ID)
		}
	}
	for _, p := range state.Offers {
		if p.Danger {
			what.Feared = append(what.Feared, wordless(p.Offer))
		}
	}
	if len(state.Mended) > 0 {
		what.Before = [2]diagnosis.Request{state.First, state.Latest}
		if state.Start != nil {
			what.Ran = strconv.FormatBool(state.Start.Ran)
		}
	}
	text, err := json.Marshal(what)
	if err != nil {
		panic("api: " + err.Error()) // numbers that are not finite are refused at the border
	}
	return sha256.Sum256(text)
}

// wordless is an offer without the words that it came from.
func wordless(o diagnosis.Offer) diagnosis.Offer {
	bare := func(r diagnosis.Reading) diagnosis.Reading { return diagnosis.Reading{Observation: r.Observation} }
	return diagnosis.Offer{Reading: bare(o.Reading), Alternatives: each(o.Alternatives, bare), Danger: o.Danger}
}

// get returns what was said to the same, or nil. It must not be changed.
func (g *guided) get(key digest) *diagnosis.Guidance {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.find(key)
}

// find is get with the lock held.
func (g *guided) find(key digest) *diagnosis.Guidance {
	e := g.known[key]
	if e == nil {
		return nil
	}
	g.order.MoveToBack(e)
	return e.Value.(*guidedEntry).guidance
}

// begin returns what was said to the same; or, where somebody asks the engine that just now, what is closed once it has
// answered; or else done, which takes the engine's answer, or nil for none.
func (g *guided) begin(key digest) (known *diagnosis.Guidance, other <-chan struct{}, done func(*diagnosis.Guidance)) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if known = g.find(key); known != nil {
		return known, nil, nil
	}
	if other, ok := g.running[key]; ok {
		return nil, other, nil
	}
	ended := make(chan struct{})
	g.running[key] = ended
	return nil, nil, func(found *diagnosis.Guidance) {
		g.mu.Lock()
		defer g.mu.Unlock()
		delete(g.running, key)
		close(ended)
		if found == nil || g.known[key] != nil {
			return
		}
		g.known[key] = g.order.PushBack(&guidedEntry{key: key, guidance: found})
		if g.order.Len() > maxGuided {
			oldest := g.order.Front()
			delete(g.known, g.order.Remove(oldest).(*guidedEntry).key)
		}
	}
}
