package store

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lightoff/engine/diagnosis"
)

// plain is what a store should be: a list of events and the keys seen, for each conversation.
type plain struct {
	events []diagnosis.Event
	keys   map[string]bool
}

// TestAgainstPlainLists does random things to a store and to plain lists, and compares.
func TestAgainstPlainLists(t *testing.T) { onBoth(t, checkAgainstPlainLists) }

func checkAgainstPlainLists(t *testing.T, place string) {
	s, err := Open(t.Context(), place)
	require.NoError(t, err)
	defer func() {
		require.NoError(t, s.Check(context.Background()))
		require.NoError(t, s.Close())
	}()
	refusal := errors.New("refused")
	rapid.Check(t, func(rt *rapid.T) {
		want := map[string]*plain{}
		draw := func(rt *rapid.T) (string, *plain) {
			if len(want) == 0 {
				rt.Skip("no conversation yet")
			}
			// Ids are random, so they are drawn by age to keep a failure repeatable.
			ids := slices.SortedFunc(maps.Keys(want), func(a, b string) int {
				return int(want[a].events[0].Tools[0][0]) - int(want[b].events[0].Tools[0][0])
			})
			id := rapid.SampledFrom(ids).Draw(rt, "conversation")
			return id, want[id]
		}
		rt.Repeat(map[string]func(*rapid.T){
			"create": func(rt *rapid.T) {
				if len(want) == 4 {
					rt.Skip("enough conversations")
				}
				e := diagnosis.Event{Kind: diagnosis.Opened, Tools: []string{string(rune('a' + len(want)))}}
				c, err := s.Create(t.Context(), "model-1", e)
				require.NoError(rt, err)
				e.Number = 1
				want[c.ID] = &plain{events: []diagnosis.Event{e}, keys: map[string]bool{}}
			},
			"append": func(rt *rapid.T) {
				id, p := draw(rt)
				e, key := drawEvent(rt), rapid.SampledFrom([]string{"", "a", "b", "c"}).Draw(rt, "key")
				refuse := rapid.IntRange(0, 4).Draw(rt, "refuse") == 0
				got, appended, err := s.Append(t.Context(), id, Request{Key: key},
					func(events []diagnosis.Event) (diagnosis.Event, error) {
						require.Equal(rt, p.events, events)
						if refuse {
							return e, refusal
						}
						return e, nil
					})
				repeated := p.keys[key]
				if refuse && !repeated {
					require.ErrorIs(rt, err, refusal)
					return
				}
				require.NoError(rt, err)
				require.Equal(rt, !repeated, appended)
				if !repeated {
					e.Number = int64(len(p.events)) + 1
					p.events = append(p.events, e)
					p.keys[key] = key != ""
				}
				require.Equal(rt, p.events, got.Events)
			},
			"reopen": func(rt *rapid.T) {
				if rapid.IntRange(0, 9).Draw(rt, "really") > 0 {
					rt.Skip("opening is slow")
				}
				require.NoError(rt, s.Close())
				var err error
				s, err = Open(t.Context(), place)
				require.NoError(rt, err)
			},
			"delete": func(rt *rapid.T) {
				id, _ := draw(rt)
				if rapid.IntRange(0, 3).Draw(rt, "really") > 0 || want[id] != youngest(want) {
					rt.Skip("not now") // ids are drawn by age, so only the youngest may go
				}
				require.NoError(rt, s.Delete(t.Context(), id))
				require.ErrorIs(rt, s.Delete(t.Context(), id), ErrNotFound)
				_, err := s.Read(t.Context(), id)
				require.ErrorIs(rt, err, ErrNotFound)
				delete(want, id)
			},
			"read": func(rt *rapid.T) {
				id, p := draw(rt)
				got, err := s.Read(t.Context(), id)
				require.NoError(rt, err)
				require.Equal(rt, p.events, got.Events)
			},
		})
		for id, p := range want {
			got, err := s.Read(t.Context(), id)
			require.NoError(rt, err)
			require.Equal(rt, p.events, got.Events)
		}
	})
}

// youngest is the conversation that was made last.
func youngest(of map[string]*plain) *plain {
	return slices.MaxFunc(slices.Collect(maps.Values(of)), func(a, b *plain) int {
		return int(a.events[0].Tools[0][0]) - int(b.events[0].Tools[0][0])
	})
}

func drawEvent(rt *rapid.T) diagnosis.Event {
	id := rapid.SampledFrom([]string{"lamp", "deposit", "age"}).Draw(rt, "observation")
	o := diagnosis.Observation{ID: id, Kind: diagnosis.NumberValue,
		Number: rapid.Float64Range(-1e6, 1e6).Draw(rt, "number")}
	switch rapid.IntRange(0, 4).Draw(rt, "kind") {
	case 0:
		return diagnosis.Event{Kind: diagnosis.Answered, Observations: []diagnosis.Observation{o}}
	case 1:
		return diagnosis.Event{Kind: diagnosis.Answered, Skipped: []string{id}}
	case 2:
		return diagnosis.Event{Kind: diagnosis.Retracted, ObservationID: id}
	case 3:
		return diagnosis.Event{Kind: diagnosis.ToolsSet, Tools: []string{fmt.Sprint("tool of ", id)}}
	default:
		return diagnosis.Event{Kind: diagnosis.Said, Text: rapid.String().Draw(rt, "text"),
			Readings: []diagnosis.Reading{{Observation: o, Words: id}}}
	}
}
