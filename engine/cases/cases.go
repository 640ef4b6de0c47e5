// Package cases reads test cases, stories of heaters whose trouble is known, and tells how an engine fares with them:
// what it makes of what a caller says unasked, whether it warns, and how soon its questions lead to the true cause.
package cases

import (
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"

	"github.com/goccy/go-yaml"
)

// Case is a heater whose trouble is known, as its owner would tell of it.
type Case struct {
	ID         string         `yaml:"id"`
	Story      string         `yaml:"story"`
	Causes     []string       `yaml:"causes"`     // what is truly wrong, the root first
	Told       map[string]any `yaml:"told"`       // what the caller says unasked
	Finds      map[string]any `yaml:"finds"`      // what there is to find, over what is ordinary
	Tools      []string       `yaml:"tools"`      // at hand
	Warned     []string       `yaml:"warned"`     // dangers that must stand on what was told
	Advised    []string       `yaml:"advised"`    // checks of which one must be among the first three
	Misleading bool           `yaml:"misleading"` // something told points elsewhere

	File string `yaml:"-"`
	Kept bool   `yaml:"-"` // of the share that no number of the model was tuned on
	Hard bool   `yaml:"-"` // of the third round, half of which was written to be hard
}

// Suite is a set of cases with the answers of a heater whose trouble lies elsewhere.
type Suite struct {
	Cases    []Case
	ordinary map[string]any
	later    map[string]map[string]any // observation newer than the cases → true cause, or otherwise → what is found
}

// keptFolder holds the cases that nothing is tuned on.
const keptFolder = "kept"

// hardRound is in the folder's or the file's name of each case of the third round.
const hardRound = "third"

// Read reads a folder of cases: lists of them in files named for what they are about, those in a folder kept apart
// marked so, and the files ordinary.yaml and, if there is one, later.yaml. Unknown fields, an id used twice and files
// without cases are errors.
func Read(fsys fs.FS) (*Suite, error) {
	s := &Suite{}
	seen := map[string]string{}
	err := fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || path.Ext(p) != ".yaml" {
			return err
		}
		text, err := fs.ReadFile(fsys, p)
		if err != nil {
			return err
		}
		if p == "ordinary.yaml" {
			return inFile(p, yaml.UnmarshalWithOptions(text, &s.ordinary, yaml.Strict()))
		}
		if p == "later.yaml" {
			return inFile(p, yaml.UnmarshalWithOptions(text, &s.later, yaml.Strict()))
		}
		var cases []Case
		if err := yaml.UnmarshalWithOptions(text, &cases, yaml.Strict()); err != nil {
			return inFile(p, err)
		}
		for _, c := range cases {
			if first, ok := seen[c.ID]; ok || c.ID == "" {
				return fmt.Errorf("%s: case %q has no id of its own (another is in %q)", p, c.ID, first)
			}
			seen[c.ID] = p
			c.File, c.Kept, c.Hard = p, strings.HasPrefix(p, keptFolder+"/"), strings.Contains(p, hardRound)
			s.Cases = append(s.Cases, c)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(s.Cases) == 0 || s.ordinary == nil {
		return nil, fmt.Errorf("no cases, or no ordinary.yaml")
	}
	return s, nil
}

func inFile(p string, err error) error {
	if err != nil {
		return fmt.Errorf("%s: %w", p, err)
	}
	return nil
}

// unknown is the answer of somebody who can't tell.
const unknown = "unknown"

// otherwise is what there is to find where no true cause is named.
const otherwise = "otherwise"

// observation is a value of a case as the engine takes it.
func observation(id string, value any) diagnosis.Observation {
	o := diagnosis.Observation{ID: id}
	switch x := value.(type) {
	case string:
		o.State = x
		if x == unknown {
			o.Kind, o.State = diagnosis.UnknownValue, ""
		}
	case uint64:
		o.Kind, o.Number = diagnosis.NumberValue, float64(x)
	case int64:
		o.Kind, o.Number = diagnosis.NumberValue, float64(x)
	case float64:
		o.Kind, o.Number = diagnosis.NumberValue, x
	default:
		o.Kind, o.Number = diagnosis.NumberValue, math.NaN()
	}
	return o
}

// Request is what was told, in the order of the ids.
func (c *Case) Request() diagnosis.Request {
	r := diagnosis.Request{Tools: c.Tools}
	for id, value := range c.Told {
		r.Observations = append(r.Observations, observation(id, value))
	}
	slices.SortFunc(r.Observations, func(a, b diagnosis.Observation) int { return strings.Compare(a.ID, b.ID) })
	return r
}

// answer is what the caller finds when asked.
func (s *Suite) answer(c *Case, id string) diagnosis.Observation {
	if value, ok := c.Finds[id]; ok {
		return observation(id, value)
	}
	if value, ok := s.ordinary[id]; ok {
		return observation(id, value)
	}
	if finds, ok := s.later[id]; ok {
		for _, cause := range c.Causes {
			if value, ok := finds[cause]; ok {
				return observation(id, value)
			}
		}
		return observation(id, finds[otherwise])
	}
	return diagnosis.Observation{ID: id, Kind: diagnosis.UnknownValue}
}

// Check lists what is wrong with the cases as such: causes, dangers, checks or answers that the model doesn't have, and
// healthy answers that are missing.
func (s *Suite) Check(m *knowledge.Model, e *diagnosis.Engine) (problems []string) {
	bad := func(c *Case, format string, args ...any) {
		problems = append(problems, fmt.Sprintf("%s: %s: %s", c.File, c.ID, fmt.Sprintf(format, args...)))
	}
	dangers := func(id string) bool {
		return slices.ContainsFunc(m.Dangers, func(d knowledge.Danger) bool { return d.ID == id })
	}
	for id, finds := range s.later {
		for cause, value := range finds {
			if _, ok := m.Cause(cause); !ok && cause != otherwise {
				problems = append(problems, fmt.Sprintf("later.yaml: %s: %s is no cause", id, cause))
			}
			if err := e.Check(diagnosis.Request{Observations: []diagnosis.Observation{observation(id, value)}}); err != nil {
				problems = append(problems, fmt.Sprintf("later.yaml: %s: %v", id, err))
			}
		}
	}
	for i := range s.Cases {
		c := &s.Cases[i]
		if len(c.Causes) == 0 || len(c.Told) == 0 || strings.TrimSpace(c.Story) == "" {
			bad(c, "needs a story, causes and something told")
		}
		for _, id := range c.Causes {
			if _, ok := m.Cause(id); !ok {
				bad(c, "%s is no cause", id)
			}
		}
		for _, id := range c.Warned {
			if !dangers(id) {
				bad(c, "%s is no danger", id)
			}
		}
		for _, id := range c.Advised {
			_, check := m.Observation(id)
			if _, fact := m.SetupFact(id); !check && !fact {
				bad(c, "%s is neither a check nor a setup fact", id)
			}
		}
		if err := e.Check(c.Request()); err != nil {
			bad(c, "told: %v", err)
		}
		found := diagnosis.Request{}
		for id, value := range c.Finds {
			if _, both := c.Told[id]; both {
				bad(c, "%s is both told and found", id)
			}
			found.Observations = append(found.Observations, observation(id, value))
		}
		for _, o := range c.Request().Observations {
			if o.ID == m.Roles.CodeTable {
				found.Observations = append(found.Observations, o)
			}
		}
		if err := e.Check(found); err != nil {
			bad(c, "finds: %v", err)
		}
	}
	return problems
}
