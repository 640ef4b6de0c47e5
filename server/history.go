package main

import (
	"context"
	"errors"
	"flag"
	"slices"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/learning"
	"lightoff/server/store"
)

// ownersSource is whose history the cases are that owners settled themselves: nobody knows who they are, so together
// they weigh no more than one workshop.
const ownersSource = "owners"

// history writes the settled conversations of a store as cases that learn reads. Nothing of it leads back to a
// conversation or to what anybody wrote.
func (c command) history(ctx context.Context, args []string) int {
	m, err := c.model()
	if err != nil {
		return c.fail(exitInput, "%s", oneLine(&modelError{err}))
	}
	return c.withStore(ctx, flag.NewFlagSet("history", flag.ContinueOnError), args, 0,
		func(s *store.Store, _ []string) error {
			var cases []learning.Case
			err := s.Each(ctx, func(one store.Conversation) error {
				if settled, ok := settledCase(m, one); ok {
					cases = append(cases, settled)
				}
				return nil
			})
			return errors.Join(err, learning.WriteCSV(c.out, cases))
		})
}

// settledCase is what a conversation teaches: what was told before anything was mended, and what it turned out to be.
func settledCase(m *knowledge.Model, one store.Conversation) (learning.Case, bool) {
	state := diagnosis.Fold(one.Events)
	if state.Closed == nil || state.Closed.Closing.Outcome != diagnosis.Settled {
		return learning.Case{}, false
	}
	closing := state.Closed.Closing
	out := learning.Case{Date: one.At[state.Closed.Number-1].Format("2006-01-02"), Source: ownersSource,
		By:   closing.FoundBy,
		Sure: learning.Sureties[sureness(closing.Surety, state.Held)]}
	if by := state.Closed.By; by != "" {
		out.Source = "desk " + by
	}
	if closing.Surety == "guessed" {
		out.By = learning.ByGuess
	}
	for _, id := range closing.Causes {
		if _, ok := m.Cause(id); !ok {
			return out, false // the model has moved on
		}
		out.Causes = append(out.Causes, id)
	}
	told := state.Request()
	if len(state.Mended) > 0 {
		told = state.First
	}
	table := ""
	for _, o := range told.Observations {
		if o.ID == m.Roles.CodeTable {
			table = o.State
		}
	}
	for _, o := range told.Observations {
		f := knowledge.Finding{ID: o.ID, State: o.State, Number: o.Number, IsNumber: o.Kind == diagnosis.NumberValue}
		if _, problem := m.Check(f, table); problem == "" && o.Kind != diagnosis.UnknownValue {
			out.Told = append(out.Told, f)
		}
	}
	return out, len(out.Told) > 0 && slices.Contains([]string{learning.ByDesk, learning.ByWorkshop, learning.ByOwner,
		learning.ByGuess}, out.By)
}

// sureness is how surely something was found once it is known whether the repair has held. Weeks of running prove what
// was seen or measured; they make no finding of a guess.
func sureness(surety string, held diagnosis.Held) string {
	if held == diagnosis.HeldWell {
		switch surety {
		case "proved":
			return "held"
		case "likely":
			return "proved"
		}
	}
	return surety
}
