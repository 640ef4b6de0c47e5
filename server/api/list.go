//go:build !js

package api

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// heads remembers of each conversation of the last days what decides its place in a desk's list, so that the list can
// put all of them in order and yet read only those that changed. It is only ever a saving: what is missing is computed
// from the logs.
type heads struct {
	mu    sync.Mutex
	known map[string]head
}

// head is what decides a conversation's place.
type head struct {
	event    int64 // it was made from
	empty    bool  // nothing was told, said or noted
	ended    bool
	attended string // by whom
	changed  time.Time
	at       position // its third number is set when it is listed
}

// position is what a list is in the order of: the numbers one after the other, the smallest first.
type position struct {
	Order [4]int64
	// Tie decides between those whose numbers are the same. It follows from the id and does not tell it, for positions go
	// out as page tokens.
	Tie string
	ID  string `json:"-"`
}

func positionOf(id string, order [4]int64) position {
	sum := sha256.Sum256([]byte(id))
	return position{Order: order, Tie: hex.EncodeToString(sum[:8]), ID: id}
}

func (p position) compare(q position) int {
	return cmp.Or(slices.Compare(p.Order[:], q.Order[:]), cmp.Compare(p.Tie, q.Tie))
}

// token is a position as text, for a page to go on after.
func (p position) token() string {
	text, err := json.Marshal(p)
	if err != nil {
		panic("api: " + err.Error())
	}
	return base64.RawURLEncoding.EncodeToString(text)
}

// pageToken returns the position after which a page begins: one before all others for the first.
func (v *violations) pageToken(token string) (p position) {
	if token == "" {
		return position{Order: [4]int64{-1}}
	}
	text, err := base64.RawURLEncoding.DecodeString(token)
	if err == nil {
		err = json.Unmarshal(text, &p)
	}
	if err != nil {
		v.add("page_token", "is none that a list gave")
	}
	return p
}

func (v *violations) pageSize(size int32) int {
	if size < 0 || size > maxListed {
		v.add("page_size", "is %d, but must lie between 0 and %d", size, maxListed)
	}
	return int(cmp.Or(size, maxListed))
}

// page says which part of which list is wanted.
type page struct {
	locale      string
	closed, due bool
	mine        string // whose conversations alone are wanted, or empty
	search      []string
	size        int
	after       position
}

// cut returns the part of the positions that a page holds, and the token of the next page.
func (p page) cut(positions []position) (some []position, next string) {
	slices.SortFunc(positions, position.compare)
	at, found := slices.BinarySearchFunc(positions, p.after, position.compare)
	if found {
		at++
	}
	some = positions[at:]
	if len(some) > p.size {
		some = some[:p.size]
		next = some[p.size-1].token()
	}
	return some, next
}

// headOf finds out where a conversation stands in the list: open ones first, the severest danger first, then whom
// nobody attends to, then whoever has waited longest; of those attended to, and of those that ended, the latest change.
func (d *desk) headOf(c store.Conversation) head {
	so := d.account(c.Events, "").sound()
	state := so.state
	h := head{event: state.LastEvent, ended: state.Closed != nil, attended: state.AssignedTo, changed: c.At[len(c.At)-1],
		empty: len(state.Told)+len(state.Notes)+len(state.Sayings) == 0}
	danger := diagnosis.Caution
	if dangers := so.evidence.Dangers(); len(dangers) > 0 && !h.ended {
		danger = max(danger, dangers[0].Severity)
	}
	order := -h.changed.UnixMicro()
	if since := waitingSince(c, state); !since.IsZero() {
		order = since.UnixMicro()
	}
	h.at = positionOf(c.ID, [4]int64{one(h.ended), -int64(danger), one(state.AssignedTo != ""), order})
	return h
}

// waitingSince is when a conversation last began to wait for somebody to attend to it; the zero time while somebody
// does, and where it has ended.
func waitingSince(c store.Conversation, state diagnosis.Conversation) time.Time {
	if state.AssignedTo != "" || state.Closed != nil {
		return time.Time{}
	}
	since := c.OpenedAt
	for i, e := range c.Events {
		if (e.Kind == diagnosis.Assigned && e.To == "") || e.Kind == diagnosis.Reopened {
			since = c.At[i]
		}
	}
	return since
}

func one(yes bool) int64 {
	if yes {
		return 1
	}
	return 0
}

// positions are those of the conversations of the last days in which something was told, said or noted.
func (d *desk) positions(ctx context.Context, p page) ([]position, error) {
	d.heads.mu.Lock()
	defer d.heads.mu.Unlock()
	quiet := time.Now().Add(-quietAge)
	now, err := d.store.Heads(ctx, time.Now().Add(-listAge))
	if err != nil {
		return nil, err
	}
	known := make(map[string]head, len(now))
	var changed []string
	for _, h := range now {
		if before, ok := d.heads.known[h.ID]; ok && before.event >= h.Event {
			known[h.ID] = before
		} else {
			changed = append(changed, h.ID)
		}
	}
	err = d.store.Visit(ctx, changed, func(c store.Conversation) error {
		known[c.ID] = d.headOf(c)
		return ctx.Err()
	})
	if err != nil {
		return nil, err
	}
	d.heads.known = known
	var out []position
	for _, h := range known {
		if h.empty || (h.ended && !p.closed && len(p.search) == 0) || (p.mine != "" && p.mine != h.attended) {
			continue
		}
		at := h.at
		if !h.ended && h.attended == "" && h.changed.Before(quiet) {
			at.Order[2] = 2 // after those that are attended to
		}
		out = append(out, at)
	}
	return out, nil
}

func (d *desk) list(ctx context.Context, p page) (*lightoffv1.ListConversationsResponse, error) {
	if p.due {
		return d.dueBack(ctx, p)
	}
	all, err := d.positions(ctx, p)
	if err != nil {
		return nil, err
	}
	if all, err = d.searched(ctx, p, all); err != nil {
		return nil, err
	}
	some, next := p.cut(all)
	out := &lightoffv1.ListConversationsResponse{More: next != "", NextPageToken: next, Me: whoCalls(ctx).name,
		Locale: p.locale}
	found := map[string]store.Conversation{}
	if err := d.visit(ctx, some, found); err != nil {
		return nil, err
	}
	thoughts := 0
	for _, at := range some {
		c, ok := found[at.ID]
		if !ok {
			continue // deleted a moment ago
		}
		so := d.account(c.Events, p.locale).sound()
		entry := d.entry(ctx, c, so)
		if so.state.Closed == nil && aboutHeater(d, so.state) {
			if entry.Lead, err = d.lead(ctx, c.ModelVersion, so, &thoughts); err != nil {
				return nil, err
			}
		}
		out.Entries = append(out.Entries, entry)
	}
	return out, nil
}

func (d *desk) visit(ctx context.Context, positions []position, found map[string]store.Conversation) error {
	return d.store.Visit(ctx, each(positions, func(p position) string { return p.ID }), func(c store.Conversation) error {
		found[c.ID] = c
		return nil
	})
}

// searched are those of the positions whose conversations hold every word that is looked for.
func (d *desk) searched(ctx context.Context, p page, all []position) (some []position, err error) {
	if len(p.search) == 0 {
		return all, nil
	}
	held := map[string]bool{}
	err = d.store.Visit(ctx, each(all, func(p position) string { return p.ID }), func(c store.Conversation) error {
		text := d.haystack(c, p.locale)
		held[c.ID] = !slices.ContainsFunc(p.search, func(word string) bool { return !strings.Contains(text, word) })
		return ctx.Err()
	})
	return slices.DeleteFunc(all, func(p position) bool { return !held[p.ID] }), err
}

// haystack is what a conversation can be found by, in lower case.
func (d *desk) haystack(c store.Conversation, locale string) string {
	state := d.account(c.Events, locale).sound().state
	f := face{model: d.model, engine: d.engine, locale: state.Locale}
	parts := []string{state.Ticket, state.AssignedTo}
	for _, t := range state.Told {
		if !t.Skipped && t.Observation.Kind != diagnosis.UnknownValue {
			parts = append(parts, t.Observation.State, f.describe(t.Observation))
		}
	}
	for _, e := range slices.Concat(state.Sayings, state.Notes) {
		parts = append(parts, e.Text, e.By)
	}
	if state.Closed != nil {
		parts = append(parts, state.Closed.By)
		if closing := state.Closed.Closing; closing != nil {
			parts = append(parts, closing.Remark)
			for _, id := range closing.Causes {
				parts = append(parts, d.model.Text(f.locale).Causes[id].Title)
			}
		}
	}
	return strings.ToLower(strings.Join(parts, "\n"))
}

// search takes the words of a search apart.
func (v *violations) search(text string) []string {
	if utf8.RuneCountInString(text) > maxSearch {
		v.add("search", "has more than %d characters", maxSearch)
	}
	return strings.Fields(strings.ToLower(plain(text)))
}

// dueBack lists the settled conversations whose owners are to be asked whether the repair has held, the longest settled
// first.
func (d *desk) dueBack(ctx context.Context, p page) (*lightoffv1.ListConversationsResponse, error) {
	now := time.Now()
	all, more, err := d.store.Since(ctx, now.Add(-dueAge), maxCounted)
	if err != nil {
		return nil, err
	}
	var positions []position
	entries := map[string]*lightoffv1.QueueEntry{}
	for _, c := range all {
		so := d.account(c.Events, p.locale).sound()
		if dueBack(c, so.state, now) && (p.mine == "" || p.mine == so.state.AssignedTo) {
			e := d.entry(ctx, c, so)
			positions = append(positions, positionOf(c.ID, [4]int64{e.GetSettledAt().AsTime().UnixMicro()}))
			entries[c.ID] = e
		}
	}
	some, next := p.cut(positions)
	return &lightoffv1.ListConversationsResponse{More: more || next != "", NextPageToken: next, Me: whoCalls(ctx).name,
		Locale:  p.locale,
		Entries: each(some, func(p position) *lightoffv1.QueueEntry { return entries[p.ID] })}, nil
}
