package learning

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"lightoff/engine/knowledge"
)

// Who settled a case.
const (
	ByWorkshop = "workshop" // found and mended by a workshop
	ByDesk     = "desk"     // confirmed by somebody who answers for it
	ByOwner    = "owner"    // mended by the owner, and the heater ran
	ByGuess    = "guess"    // nobody looked
)

// Case is a settled one.
type Case struct {
	Date   string // YYYY-MM-DD, when it was settled
	Source string // who it comes from; its influence is bounded
	Told   []knowledge.Finding
	Causes []string // what it turned out to be
	By     string
	Sure   float64 // that it is so, from 0 to 1
}

// Teaches reports whether the case is a finding and not a guess.
func (c Case) Teaches() bool { return c.By != ByGuess && c.Sure > 0.5 && len(c.Causes) > 0 }

// key orders cases: those of one installation and with like findings stand together, which makes counting quick.
func (c Case) key(m *knowledge.Model) string {
	var b strings.Builder
	told := slices.Clone(c.Told)
	slices.SortFunc(told, func(x, y knowledge.Finding) int {
		_, setupX := m.SetupFact(x.ID)
		_, setupY := m.SetupFact(y.ID)
		if setupX != setupY {
			if setupX {
				return -1
			}
			return 1
		}
		return cmp.Compare(x.ID, y.ID)
	})
	for _, f := range told {
		b.WriteString(f.ID + "=" + f.State + strconv.FormatFloat(f.Number, 'g', -1, 64) + ";")
	}
	return b.String() + "|" + strings.Join(c.Causes, ";") + "|" + c.Date + "|" + c.By +
		strconv.FormatFloat(c.Sure, 'g', -1, 64)
}

// Columns are those of a workshop's history in CSV, named in its first line:
//
//	date     when it was settled, YYYY-MM-DD
//	source   whose history it is
//	told     what was found, as id=value, separated by semicolons; a value is a state or a number in the observation's unit
//	causes   ids of what it turned out to be, separated by semicolons; several if several were active
//	by       workshop, desk, owner or guess
//	sure     how surely: held, proved, likely, guessed or a number from 0 to 1; empty means proved
var Columns = []string{"date", "source", "told", "causes", "by", "sure"}

// Sureties are what words for how surely something was found are worth; common practice, no source. What was guessed
// teaches nothing.
var Sureties = map[string]float64{
	"held":    0.98, // proved, and it has run for weeks since
	"proved":  0.95, // mended, and a start watched through
	"likely":  0.85, // seen or measured
	"guessed": 0.5,
}

// WriteCSV writes cases as ReadCSV reads them.
func WriteCSV(w io.Writer, cases []Case) error {
	out := csv.NewWriter(w)
	rows := [][]string{Columns}
	for _, c := range cases {
		var told []string
		for _, f := range c.Told {
			value := f.State
			if f.IsNumber {
				value = strconv.FormatFloat(f.Number, 'g', -1, 64)
			}
			told = append(told, f.ID+"="+value)
		}
		rows = append(rows, []string{c.Date, c.Source, strings.Join(told, "; "), strings.Join(c.Causes, "; "), c.By,
			strconv.FormatFloat(c.Sure, 'g', -1, 64)})
	}
	return out.WriteAll(rows)
}

// mostProblems is how many bad lines are named.
const mostProblems = 20

// ReadCSV reads a history. The error lists the first lines that are wrong; then no case is given.
func ReadCSV(m *knowledge.Model, r io.Reader) ([]Case, error) {
	in := csv.NewReader(r)
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("reading the first line: %w", err)
	}
	at := map[string]int{}
	for i, name := range head {
		at[strings.TrimSpace(name)] = i
	}
	for _, c := range Columns {
		if _, ok := at[c]; !ok {
			return nil, fmt.Errorf("line 1: column %q is missing; the columns are %s", c, strings.Join(Columns, ", "))
		}
	}
	var out []Case
	var bad []error
	for len(bad) < mostProblems {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			bad = append(bad, err)
			break
		}
		line, _ := in.FieldPos(0)
		c, err := readCase(m, func(column string) string { return strings.TrimSpace(row[at[column]]) })
		if err != nil {
			bad = append(bad, fmt.Errorf("line %d: %w", line, err))
		}
		out = append(out, c)
	}
	if len(bad) > 0 {
		return nil, errors.Join(bad...)
	}
	return out, nil
}

func readCase(m *knowledge.Model, field func(string) string) (Case, error) {
	c := Case{Date: field("date"), Source: field("source"), By: field("by"), Sure: Sureties["proved"]}
	if len(c.Date) != 10 || c.Date[4] != '-' || c.Date[7] != '-' || strings.Trim(c.Date, "0123456789-") != "" {
		return c, fmt.Errorf("date %q is not of the form 2026-01-31", c.Date)
	}
	if c.Source == "" {
		return c, fmt.Errorf("source is empty")
	}
	if !slices.Contains([]string{ByWorkshop, ByDesk, ByOwner, ByGuess}, c.By) {
		return c, fmt.Errorf("by is %q, not one of workshop, desk, owner, guess", c.By)
	}
	if s := field("sure"); s != "" {
		x, word := Sureties[s]
		var err error
		if !word {
			x, err = strconv.ParseFloat(s, 64)
		}
		if err != nil || !(x >= 0 && x <= 1) {
			return c, fmt.Errorf("sure is %q, neither held, proved, likely or guessed nor a number from 0 to 1", s)
		}
		c.Sure = x
	}
	for _, id := range parts(field("causes")) {
		if _, ok := m.Cause(id); !ok {
			return c, fmt.Errorf("%q is no cause", id)
		}
		c.Causes = append(c.Causes, id)
	}
	return c, readTold(m, &c, parts(field("told")))
}

func parts(s string) (out []string) {
	for p := range strings.SplitSeq(s, ";") {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}

func readTold(m *knowledge.Model, c *Case, told []string) error {
	table := ""
	for _, t := range told {
		id, value, ok := strings.Cut(t, "=")
		if !ok {
			return fmt.Errorf("told: %q is not of the form id=value", t)
		}
		f := knowledge.Finding{ID: strings.TrimSpace(id), State: strings.TrimSpace(value)}
		if f.ID == m.Roles.CodeTable {
			table = f.State
		}
		if slices.ContainsFunc(c.Told, func(o knowledge.Finding) bool { return o.ID == f.ID }) {
			return fmt.Errorf("told: %s is told twice", f.ID)
		}
		unit := ""
		if o, ok := m.Observation(f.ID); ok {
			unit = o.Unit
		} else if s, ok := m.SetupFact(f.ID); ok {
			unit = s.Unit
		}
		if x, err := strconv.ParseFloat(f.State, 64); err == nil && unit != "" {
			f.State, f.Number, f.IsNumber = "", x, true
		}
		c.Told = append(c.Told, f)
	}
	for _, f := range c.Told {
		if _, problem := m.Check(f, table); problem != "" {
			return fmt.Errorf("told: %s", problem)
		}
	}
	slices.SortFunc(c.Told, func(a, b knowledge.Finding) int { return cmp.Compare(a.ID, b.ID) })
	return nil
}
