package diagnosis_test

import (
	"flag"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
	"lightoff/engine/knowledge"
)

// An assessment takes tens of milliseconds, and many times that under the race detector.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("rapid.checks", "10"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// One engine serves all tests: a first query costs more than those that follow it.
var shared = sync.OnceValues(func() (*diagnosis.Engine, error) {
	m, err := heater.Model()
	if err != nil {
		return nil, err
	}
	return diagnosis.New(m), nil
})

func engine(t testing.TB) *diagnosis.Engine {
	t.Helper()
	e, err := shared()
	require.NoError(t, err)
	return e
}

// observation reads id=state, id=12.3 for a number and id=? for what could not be told.
func observation(s string) diagnosis.Observation {
	id, value, _ := strings.Cut(s, "=")
	if value == "?" {
		return diagnosis.Observation{ID: id, Kind: diagnosis.UnknownValue}
	}
	m, _ := heater.Model()
	number := false
	if o, ok := m.Observation(id); ok {
		number = o.Unit != ""
	} else if f, ok := m.SetupFact(id); ok {
		number = f.Unit != ""
	}
	if x, err := strconv.ParseFloat(value, 64); err == nil && number {
		return diagnosis.Observation{ID: id, Kind: diagnosis.NumberValue, Number: x}
	}
	return diagnosis.Observation{ID: id, State: value}
}

// request reads what was told, and tools as +tool.
func request(told ...string) diagnosis.Request {
	var r diagnosis.Request
	for _, s := range told {
		if tool, ok := strings.CutPrefix(s, "+"); ok {
			r.Tools = append(r.Tools, tool)
			continue
		}
		r.Observations = append(r.Observations, observation(s))
	}
	return r
}

func assess(t testing.TB, told ...string) *diagnosis.Assessment {
	t.Helper()
	a, err := engine(t).Assess(request(told...))
	require.NoError(t, err)
	return a
}

// standing are the dangers that stand by what was told.
func standing(t testing.TB, r diagnosis.Request) []diagnosis.Danger {
	t.Helper()
	v, err := engine(t).Evidence(r)
	require.NoError(t, err)
	return v.Dangers()
}

func probability(t testing.TB, a *diagnosis.Assessment, cause string) float64 {
	t.Helper()
	for _, c := range a.Causes {
		if c.ID == cause {
			return c.Probability
		}
	}
	t.Fatalf("no cause %s", cause)
	return 0
}

func dangers(a *diagnosis.Assessment) []string {
	var ids []string
	for _, d := range a.Dangers {
		ids = append(ids, d.ID)
	}
	return ids
}

func repairs(a *diagnosis.Assessment) []string {
	var ids []string
	for _, s := range a.Plan.Steps {
		ids = append(ids, s.RepairID)
	}
	return ids
}

func checks(a *diagnosis.Assessment) []string {
	var ids []string
	for _, c := range a.NextChecks {
		ids = append(ids, c.ObservationID)
	}
	return ids
}

func engineModel(t testing.TB) *knowledge.Model {
	t.Helper()
	m, err := heater.Model()
	require.NoError(t, err)
	return m
}
