package knowledge

import (
	"maps"
	"slices"
	"strings"
)

// Loading refuses what makes no sense. Linting looks for what makes sense to a computer only: a fault that nothing can
// show, a check that tells nothing, a danger that nobody is warned of.

// Bounds below which something counts as saying nothing.
const (
	leastConfirming = 8    // times that some finding must raise a cause's odds
	leastTelling    = 1e-4 // bits that an observation must tell about some cause
	workshop        = 3    // the difficulty of what only a workshop finds out
	leastReached    = 1e-7 // probability of a state, given a complaint
)

// Lint lists what a mechanic should look at again, each with file and line: causes that no finding short of a
// workshop's confirms, unless their file says why; observations that tell nothing of any cause; states that never
// occur; checks or repairs with a hazard and no caution, or whose words and gates disagree; repairs half told; states
// that a sequence looks past; and dangers without steps or a way out.
func (m *Model) Lint() ([]Problem, error) {
	l := &linter{m: m, in: m.NewInquiry(), errs: &Error{}}
	l.in.Enter(nil)
	for _, look := range []func() error{l.confirming, l.telling, l.reached} {
		if err := look(); err != nil {
			return nil, err
		}
	}
	l.overlooked()
	l.cautions()
	l.words()
	l.told()
	l.ways()
	if l.errs.orNil() == nil {
		return nil, nil
	}
	return l.errs.Problems, nil
}

type linter struct {
	m    *Model
	in   *Inquiry
	errs *Error
}

// problem stands where the entry does.
func (l *linter) problem(id, format string, args ...any) {
	at, ok := l.m.files.seen[id]
	if !ok {
		l.errs.add(".", 0, 0, format, args...)
		return
	}
	line, column := at.position()
	l.errs.add(at.file, line, column, format, args...)
}

// wording stands where the text of a check or a repair does.
func (l *linter) wording(locale, id, format string, args ...any) {
	for _, what := range []string{"observations", "repairs"} {
		file := "text/" + locale + "/" + what + ".yaml"
		if line, column := l.m.files.wordsAt(file, id); line > 0 {
			l.errs.add(file, line, column, format, args...)
			return
		}
	}
	l.problem(id, format, args...)
}

// observations are those that stand in the network, up to a difficulty.
func (l *linter) observations(difficulty int) (ids []string) {
	for _, o := range l.m.Observations {
		if _, ok := l.m.variables[o.ID]; ok && o.Difficulty <= difficulty {
			ids = append(ids, o.ID)
		}
	}
	return ids
}

func (l *linter) confirming() error {
	ids := l.observations(workshop - 1)
	for i, c := range l.m.Causes {
		if c.Computed || c.Unconfirmed != "" {
			continue
		}
		before, err := l.in.Cause(i)
		if err != nil {
			return err
		}
		outcomes, err := l.in.Outcomes(i, ids)
		if err != nil {
			return err
		}
		best, found := 0.0, "nothing"
		for _, o := range outcomes {
			if times := o.After / (1 - o.After) / (before / (1 - before)); times > best {
				best, found = times, o.Observation+"="+o.State
			}
		}
		// That the heater is fitted so is a setup fact, that it takes effect a finding; together they confirm.
		if best *= l.raise(i); best < leastConfirming {
			l.problem(c.ID, "%s: no finding short of a workshop's confirms it: the best, %s, raises its odds %.1f times with "+
				"all "+
				"that a setup fact adds, and %d are asked for. Make a finding speak more for it, or less for the other causes "+
				"that show "+
				"the same (a change to one of those can bring this about); or say under unconfirmed why there is none",
				c.ID, found, best, leastConfirming)
		}
	}
	return nil
}

// raise is the most that one setup fact multiplies a cause's base rate with, by a factor or by a computation.
func (l *linter) raise(i int) float64 {
	most := 1.0
	for _, fact := range l.m.Setup {
		for _, st := range fact.States {
			told := newSituation([]Finding{{ID: fact.ID, State: st.ID}}, l.in.memo)
			most = max(most, l.m.rateIn(i, told)/l.m.rate[i])
		}
	}
	return most
}

func (l *linter) telling() error {
	ids := l.observations(workshop)
	bits, err := l.in.Information(ids, func(int) bool { return true })
	if err != nil {
		return err
	}
	for j, id := range ids {
		most := 0.0
		for i := range bits {
			most = max(most, bits[i][j])
		}
		if most < leastTelling {
			l.problem(id, "%s tells nothing about any cause", id)
		}
	}
	return nil
}

func (l *linter) reached() error {
	for _, v := range l.m.files.variables {
		post, err := l.in.now.q.Marginal(l.m.varOf(v.id))
		if err != nil {
			return err
		}
		for s, p := range post {
			if p < leastReached {
				l.problem(v.id, "%s: nothing brings about %s", v.id, v.states[s])
			}
		}
	}
	return nil
}

func (l *linter) cautions() {
	for _, locale := range l.m.Locales() {
		t := l.m.Text(locale)
		missing := func(id string, g Gates, cautions []Caution) {
			warns := func(c Caution) bool { return strings.TrimSpace(c.Text) != "" }
			if hazards := g.Names(); len(hazards) > 0 && !slices.ContainsFunc(cautions, warns) {
				l.wording(locale, id, "%s: %s, and the texts in %s have no caution for it: write what to mind under cautions",
					id, strings.Join(hazards, ", "), locale)
			}
		}
		for _, o := range l.m.Observations {
			missing(o.ID, o.Gates, t.Observations[o.ID].Cautions)
		}
		for _, r := range l.m.Repairs {
			missing(r.ID, r.Gates, t.Repairs[r.ID].Cautions)
		}
	}
}

// told finds repairs that a language does not tell in steps, or of which it does not say how one sees that they are
// done or what keeps the fault away.
func (l *linter) told() {
	for _, locale := range l.m.Locales() {
		t := l.m.Text(locale)
		if len(t.GateWords) == 0 {
			continue
		}
		for _, r := range l.m.Repairs {
			x := t.Repairs[r.ID]
			lacks := func(what string) { l.wording(locale, r.ID, "%s: no %s in %s", r.ID, what, locale) }
			if len(x.Steps) < 2 {
				lacks("steps, of which there are at least two,")
			}
			if x.Proof == "" {
				lacks("proof")
			}
			if x.Prevention == "" {
				lacks("prevention")
			}
		}
	}
}

// ways finds dangers that forbid a start and say in no steps what to do, or not how they are lifted.
func (l *linter) ways() {
	for _, locale := range l.m.Locales() {
		t := l.m.Text(locale)
		if len(t.GateWords) == 0 {
			continue
		}
		for _, d := range l.m.Dangers {
			x := t.Dangers[d.ID]
			file := "text/" + locale + "/dangers.yaml"
			line, column := l.m.files.wordsAt(file, d.ID)
			if len(x.Steps) == 0 {
				l.errs.add(file, line, column, "%s: no steps in %s: write what to do now, a sentence each", d.ID, locale)
			}
			if d.Severity > 1 && len(x.WayOut) == 0 {
				l.errs.add(file, line, column, "%s: no way_out in %s: write what leads to where it no longer stands", d.ID, locale)
			}
		}
	}
	for _, d := range l.m.Dangers {
		if d.Severity > 1 && len(d.LiftedBy) == 0 && len(l.m.Text("en").GateWords) > 0 {
			l.danger(d.ID, "%s: nothing lifts it: write lifted_by, with what has been found or done when it is over", d.ID)
		}
	}
}

func (l *linter) danger(id, format string, args ...any) {
	at := l.m.files.places["danger/"+id]
	line, column := at.position()
	l.errs.add(at.file, line, column, format, args...)
}

// words finds checks and repairs whose words need what no gate says, and gates of which no word speaks.
func (l *linter) words() {
	for _, locale := range l.m.Locales() {
		t := l.m.Text(locale)
		if len(t.GateWords) == 0 {
			continue
		}
		look := func(id string, g Gates, texts []string) {
			set := g.Names()
			said := t.GatesNamed(texts...)
			for _, gate := range gateNames {
				_, known := t.GateWords[gate]
				has := slices.Contains(set, gate) || gate == "needs_power" && g.NeedsStart // no start without power
				switch sentence := said[gate]; {
				case sentence != "" && !has:
					l.problem(id, "%s: its words need the gate %s (%s: %q); add the gate, or say it otherwise "+
						"(text/%s/gates.yaml has what counts)", id, gate, locale, sentence, locale)
				case known && sentence == "" && slices.Contains(set, gate):
					l.wording(locale, id, "%s: it has the gate %s, of which its words in %s say nothing; text/%s/gates.yaml "+
						"has the phrases that do, and takes more", id, gate, locale, locale)
				}
			}
		}
		for _, o := range l.m.Observations {
			look(o.ID, o.Gates, t.Observations[o.ID].work())
		}
		for _, r := range l.m.Repairs {
			look(r.ID, r.Gates, t.Repairs[r.ID].work())
		}
	}
}

// overlooked finds states of something that a sequence looks at which none of its lines looks for. The first state is
// that in which nothing is wrong.
func (l *linter) overlooked() {
	for _, s := range l.m.files.sequences {
		for _, id := range slices.Sorted(maps.Keys(s.looks)) {
			for _, state := range l.m.variables[id].states[1:] {
				if !s.looks[id][state] {
					at := s.at[id]
					line, column := at.position()
					l.errs.add(at.file, line, column, "%s looks at %s, and no line says what becomes of %s", s.last, id, state)
				}
			}
		}
	}
}
