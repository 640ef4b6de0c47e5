package api

import (
	"fmt"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
)

// admit moves the readings that cannot stand, alone or beside what was told, to the unclear parts.
func (a *account) admit(said diagnosis.Event) diagnosis.Event {
	alone := diagnosis.Request{}
	for _, r := range said.Readings {
		alone.Observations = append(alone.Observations, r.Observation)
	}
	doubtful := map[int]bool{}
	found, _ := faults(a.engine.Check(alone), "observations")
	for _, f := range found {
		doubtful[f.place] = true
	}
	said = divide(said, func(i int, _ diagnosis.Reading) bool { return doubtful[i] })
	said.Offers = a.offerable(said.Offers)
	unsound := a.with(said).unsound
	return divide(said, func(_ int, r diagnosis.Reading) bool { return unsound[r.Observation.ID] })
}

// offerable leaves out of the offers what the model does not accept.
func (u understanding) offerable(offers []diagnosis.Offer) []diagnosis.Offer {
	var out []diagnosis.Offer
	for _, o := range offers {
		sound := slices.DeleteFunc(append([]diagnosis.Reading{o.Reading}, o.Alternatives...), func(r diagnosis.Reading) bool {
			return u.engine.Check(diagnosis.Request{Observations: []diagnosis.Observation{r.Observation}}) != nil
		})
		if len(sound) > 0 {
			out = append(out, diagnosis.Offer{Reading: sound[0], Alternatives: sound[1:], Danger: o.Danger})
		}
	}
	return out
}

// context is what the reader of a text may know of the conversation that it is said in.
func (u understanding) context(state diagnosis.Conversation, asked, locale string) words.Context {
	out := words.Context{Asked: asked, Locale: locale}
	if n := len(state.Sayings); n > 0 {
		out.Before = state.Sayings[n-1].Text
	}
	for _, r := range []diagnosis.Request{state.First, state.Latest} {
		for _, o := range r.Observations {
			if o.ID == asked && o.Kind != diagnosis.UnknownValue {
				was := words.Reading{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == diagnosis.NumberValue}
				out.Was = &was
			}
		}
	}
	out.Offer = offered(state.Offers, asked)
	return out
}

// offered is what a bare yes confirms: what waits of the observation that is asked, or the only thing that waits
// where none is.
func offered(waiting []diagnosis.Pending, asked string) *words.Reading {
	var out *words.Reading
	for _, p := range waiting {
		o := p.Offer.Reading.Observation
		switch {
		case asked != "" && o.ID != asked:
			continue
		case out != nil:
			return nil
		}
		out = &words.Reading{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == diagnosis.NumberValue}
	}
	return out
}

// divide returns the event with the doubtful readings turned into unclear parts.
func divide(said diagnosis.Event, doubtful func(int, diagnosis.Reading) bool) diagnosis.Event {
	readings, unclear := said.Readings, slices.Clone(said.Unclear)
	said.Readings = nil
	for i, r := range readings {
		switch {
		case !doubtful(i, r):
			said.Readings = append(said.Readings, r)
		case r.Words != "" && !slices.Contains(unclear, r.Words):
			unclear = append(unclear, r.Words)
		}
	}
	said.Unclear = unclear
	return said
}

// fits checks that everything told can stand once the answers, each sound in itself, have joined it.
func (a *account) fits(answered diagnosis.Event) error {
	if len(a.with(answered).unsound) == 0 {
		return nil
	}
	before := a.sound().state
	together := diagnosis.Fold(append(a.events, answered))
	together.Told = slices.DeleteFunc(together.Told, func(t diagnosis.Told) bool {
		// What today's model refuses is out of sight already and must not stand in the way of an answer. New answers
		// have no event number yet.
		return t.Event > 0 && !stands(before, t.Observation.ID)
	})
	told := together.Request().Observations
	err := a.engine.Check(diagnosis.Request{Observations: told})
	if err == nil {
		return nil
	}
	found, ok := faults(err, "observations")
	if !ok {
		return fmt.Errorf("check all that was told: %v", err) // not the caller's mistake, hence not wrapped
	}
	var v violations
	for _, f := range found {
		field := "observations"
		if i := slices.Index(answered.Observations, told[f.place]); i >= 0 {
			field = fmt.Sprintf("observations[%d]", i)
		}
		v.add(field, "does not fit what was told: %s: %s", told[f.place].ID, f.reason)
	}
	return v.err()
}

func stands(state diagnosis.Conversation, id string) bool {
	return slices.ContainsFunc(state.Told, func(t diagnosis.Told) bool { return t.Observation.ID == id })
}

func (u understanding) hasRepair(id string) bool {
	return slices.ContainsFunc(u.model.Repairs, func(r knowledge.Repair) bool { return r.ID == id })
}

// soundRequest leaves out of what was known before a repair what the model does not accept.
func (u understanding) soundRequest(r diagnosis.Request) diagnosis.Request {
	r.Mended = slices.DeleteFunc(slices.Clone(r.Mended), func(id string) bool { return !u.hasRepair(id) })
	for len(r.Observations) > 0 {
		found, ok := faults(u.engine.Check(diagnosis.Request{Observations: r.Observations}), "observations")
		if !ok {
			break
		}
		bad := map[string]bool{}
		for _, f := range found {
			bad[r.Observations[f.place].ID] = true
		}
		r.Observations = slices.DeleteFunc(slices.Clone(r.Observations),
			func(o diagnosis.Observation) bool { return bad[o.ID] })
		r.Before = slices.DeleteFunc(slices.Clone(r.Before), func(id string) bool { return bad[id] })
	}
	r.Tools = u.soundTools(r.Tools)
	return r
}
