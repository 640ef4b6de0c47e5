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
	mu    sync.Mutex
	known map[[sha256.Size]byte]*list.Element
	order *list.List // of *guidedEntry, least lately used first
}

type guidedEntry struct {
	key      [sha256.Size]byte
	guidance *diagnosis.Guidance
}

func newGuided() *guided {
	return &guided{known: map[[sha256.Size]byte]*list.Element{}, order: list.New()}
}

// keyOf digests what guidance depends on: the model's version, what was told and the tools, not when, in which words, or in
// which conversation.
func keyOf(version string, state diagnosis.Conversation) [sha256.Size]byte {
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
func (g *guided) get(key [sha256.Size]byte) *diagnosis.Guidance {
	g.mu.Lock()
	defer g.mu.Unlock()
	e := g.known[key]
	if e == nil {
		return nil
	}
	g.order.MoveToBack(e)
	return e.Value.(*guidedEntry).guidance
}

func (g *guided) put(key [sha256.Size]byte, guidance *diagnosis.Guidance) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.known[key] != nil {
		return
	}
	g.known[key] = g.order.PushBack(&guidedEntry{key: key, guidance: guidance})
	if g.order.Len() > maxGuided {
		oldest := g.order.Front()
		delete(g.known, g.order.Remove(oldest).(*guidedEntry).key)
	}
}
