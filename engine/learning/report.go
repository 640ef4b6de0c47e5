package learning

import (
	"fmt"
	"strings"
)

// mostMoved and mostWrong are how many lines a report gives to each.
const (
	mostMoved = 40
	mostWrong = 30
)

// Report tells in plain words what was learnt, in Markdown. The same learning gives the same bytes.
func (r *Result) Report(oldVersion, newVersion string) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# What was learnt\n")
	line("From model %s to %s. Nothing changes until a person promotes the new one.\n", oldVersion, newVersion)
	line("%d settled cases from %d sources taught; %d, the latest from %s on, were kept to judge by; %d were guesses "+
		"and taught nothing.",
		r.Cases, r.Sources, r.HeldBack, r.HeldFrom, r.Guesses)
	if r.NotUnderstood > 0 {
		line("%d are impossible in the model and were left out.", r.NotUnderstood)
	}
	line("An expert's row is worth %g cases, the figures per 1,000 are worth %g. No source moves a probability by more "+
		"than %g, or a figure by more than %g per 1,000; sources were scaled down in %d rows.",
		r.Options.EquivalentSampleSize, r.Options.RateSampleSize, r.Options.Limit, 100*r.Options.Limit, r.Scaled)
	if r.RatesKept < 1 {
		line("The figures per 1,000 went %.0f %% of the way only, and the links %.0f %%, since these do not bring about "+
			"those.", 100*r.RatesKept, 100*r.LinksKept)
	}
	line("Dangers, limits and gates are never learnt.\n")
	line("## On the cases kept back (%d judged)\n", r.Before.Cases)
	line("| | before | after |\n|---|---|---|")
	line("| log score, nats a case (less is better) | %.4f | %.4f |", r.Before.LogScore, r.After.LogScore)
	line("| Brier score, a case (less is better) | %.4f | %.4f |", r.Before.Brier, r.After.Brier)
	line("| what it turned out to be led | %.1f %% | %.1f %% |", 100*r.Before.Led, 100*r.After.Led)
	line("| Spiegelhalter's z (within ±2 is calibrated) | %.2f | %.2f |", r.Before.Z, r.After.Z)
	line("\nA cause that a case did not turn out to be counts as not active.\n")
	r.curve(line)
	line("## What moved\n\n| number | state | before | after | cases that bear on it | sources " +
		"|\n|---|---|---|---|---|---|")
	for _, m := range r.Moved[:min(mostMoved, len(r.Moved))] {
		line("| %s | %s | %.4f | %.4f | %.1f | %d |", m.Key, m.State, m.Before, m.After, m.Cases, m.Sources)
	}
	line("\n%d numbers moved; those that moved most are listed.\n", len(r.Moved))
	line("## Wrong now and right before: %d (right now and wrong before: %d)\n", len(r.WrongNow), r.RightNow)
	for _, w := range r.WrongNow[:min(mostWrong, len(r.WrongNow))] {
		line("- %s, %s: %s; now %s leads", w.Date, w.Source, strings.Join(w.Causes, ", "), w.Now)
	}
	return b.String()
}

func (r *Result) curve(line func(string, ...any)) {
	line("## Calibration\n\nOf forecasts between the bounds, so many came true; the interval holds the true share in 19 " +
		"of 20 cases.\n")
	for _, side := range []struct {
		name   string
		scores Scores
	}{{"Before", r.Before}, {"After", r.After}} {
		line("%s:\n\n| forecast | number | mean forecast | came true | interval | |\n|---|---|---|---|---|---|", side.name)
		for _, bin := range side.scores.Bins {
			mark := ""
			if !bin.Calibrated() {
				mark = "off"
			}
			line("| %g to %g | %d | %.4f | %.4f | %.4f to %.4f | %s |", bin.From, bin.To, bin.Count, bin.Mean, bin.Share,
				bin.Low, bin.High, mark)
		}
		line("")
	}
}
