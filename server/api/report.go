//go:build !js

package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// What a report holds at most.
const (
	reportCauses = 6
	reportSteps  = 5
)

// What the model's texts call an outcome, who found it, and how surely.
var (
	outcomeWords = map[diagnosis.Outcome]string{
		diagnosis.Settled: "jobcard_settled", diagnosis.ToWorkshop: "jobcard_workshop",
		diagnosis.OutOfUse:   "jobcard_out_of_use",
		diagnosis.NotReached: "jobcard_not_reached", diagnosis.OtherAppliance: "jobcard_other_appliance",
		diagnosis.ByModerator: "jobcard_moderated",
	}
	finderWords = map[string]string{"owner": "jobcard_owner", "desk": "jobcard_desk", "workshop": "jobcard_found_workshop"}
	suretyWords = map[string]string{"proved": "jobcard_proved", "likely": "jobcard_likely", "guessed": "jobcard_guessed"}
)

// GetReport implements the RPC.
func (d *desk) GetReport(ctx context.Context, req *lightoffv1.GetReportRequest) (*lightoffv1.GetReportResponse, error) {
	if _, known := lightoffv1.ReportForm_name[int32(req.GetForm())]; !known {
		var v violations
		v.add("form", "is none of the forms")
		return nil, v.err()
	}
	r, err := d.report(ctx, req.GetId(), req.GetLocale())
	if err != nil {
		return nil, err
	}
	out := &lightoffv1.GetReportResponse{Locale: r.GetLocale()}
	name := "heater-" + r.GetOpenedAt().AsTime().Format("2006-01-02-1504")
	switch req.GetForm() {
	case lightoffv1.ReportForm_REPORT_FORM_JSON:
		out.MediaType, out.FileName = "application/json", name+".json"
		out.Text, err = reportJSON(r)
	case lightoffv1.ReportForm_REPORT_FORM_CSV:
		out.MediaType, out.FileName = "text/csv; charset=utf-8", name+".csv"
		out.Text, err = reportCSV(r)
	default:
		out.MediaType, out.FileName = "text/plain; charset=utf-8", name+".txt"
		out.Text = d.reportPlain(r)
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (d *desk) report(ctx context.Context, id, locale string) (*lightoffv1.Report, error) {
	shown, err := d.read(ctx, id, locale, inTurn)
	if err != nil {
		return nil, err
	}
	if shown.GetAssessment().GetPending() {
		return nil, &busy{wait: retryAfter}
	}
	c, err := d.store.Read(ctx, id)
	if err != nil {
		return nil, err
	}
	state, a := diagnosis.Fold(c.Events), shown.GetAssessment()
	r := &lightoffv1.Report{
		OpenedAt: timestamppb.New(c.OpenedAt), Locale: shown.GetLocale(), Dangers: a.GetDangers(),
		Told:   each(shown.GetTold(), bare),
		Causes: a.GetCauses()[:min(len(a.GetCauses()), reportCauses)], Contradictions: a.GetContradictions(),
		AssignedTo: state.AssignedTo, Notes: notes(c, state), ModelVersion: a.GetModelVersion(),
	}
	r.Plan = a.GetPlan().GetSteps()
	r.Plan = r.Plan[:min(len(r.Plan), reportSteps)]
	if state.Closed != nil {
		r.Closing = toClosing(state.Closed.Closing)
	}
	return r, nil
}

// bare leaves out how a question is asked.
func bare(t *lightoffv1.Told) *lightoffv1.Told {
	return &lightoffv1.Told{Observation: t.GetObservation(), Skipped: t.GetSkipped(), Text: t.GetText(),
		Words: t.GetWords(), Event: t.GetEvent()}
}

// reportJSON is always written alike, which protojson by itself does not promise.
func reportJSON(r *lightoffv1.Report) (string, error) {
	raw, err := protojson.Marshal(r)
	if err != nil {
		return "", err
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil {
		return "", err
	}
	return out.String() + "\n", nil
}

// reportCSV has one row a thing: its section, its id, its words, its value.
func reportCSV(r *lightoffv1.Report) (string, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true // RFC 4180
	row := func(cells ...string) {
		for i, cell := range cells {
			cells[i] = harmless(cell)
		}
		_ = w.Write(cells) // told by Error
	}
	row("section", "id", "text", "value")
	row("opened", "", "", r.GetOpenedAt().AsTime().Format("2006-01-02T15:04:05Z"))
	row("model", "", "", r.GetModelVersion())
	for _, d := range r.GetDangers() {
		row("danger", d.GetId(), d.GetTitle(), strings.ToLower(strings.TrimPrefix(d.GetSeverity().String(), "SEVERITY_")))
	}
	for _, t := range r.GetTold() {
		row("told", t.GetObservation().GetId(), t.GetText(), valueOf(t))
	}
	for _, c := range r.GetCauses() {
		row("cause", c.GetId(), c.GetTitle(), strconv.FormatFloat(c.GetProbability(), 'f', 4, 64))
	}
	for _, s := range r.GetPlan() {
		row("repair", s.GetRepairId(), s.GetTitle(), strconv.FormatFloat(s.GetProbabilityNeeded(), 'f', 4, 64))
	}
	for _, n := range r.GetNotes() {
		row("note", n.GetBy(), n.GetText(), n.GetAt().AsTime().Format("2006-01-02T15:04:05Z"))
	}
	if c := r.GetClosing(); c != nil {
		row("outcome", string(outcomes[c.GetOutcome()]), c.GetRemark(), sureties[c.GetSurety()])
		for _, id := range c.GetCauseIds() {
			row("found", id, "", finders[c.GetFoundBy()])
		}
	}
	w.Flush()
	return out.String(), w.Error()
}

// harmless keeps a table program from taking what somebody typed for a formula (OWASP, CSV injection): signs that begin
// one, also in full width, and also behind what such a program leaves out.
func harmless(cell string) string {
	seen := strings.TrimLeftFunc(plain(cell), func(r rune) bool {
		return unicode.IsSpace(r) || r == '\u200c' ||
			r == '\u200d'
	})
	first, _ := utf8.DecodeRuneInString(seen)
	if seen != "" && (strings.ContainsRune("=+-@|%＝＋－＠", first) || cell[0] == '\t' || cell[0] == '\r') {
		if _, err := strconv.ParseFloat(cell, 64); err != nil {
			return "'" + plain(cell)
		}
	}
	return plain(cell)
}

func valueOf(t *lightoffv1.Told) string {
	if t.GetSkipped() {
		return "skipped"
	}
	switch v := t.GetObservation().GetValue().(type) {
	case *lightoffv1.Observation_State:
		return v.State
	case *lightoffv1.Observation_Number:
		return strconv.FormatFloat(v.Number, 'g', -1, 64)
	}
	return "unknown"
}

// reportPlain is for a ticket: dangers first.
func (d *desk) reportPlain(r *lightoffv1.Report) string {
	words := d.model.Text(r.GetLocale()).Phrases
	var out strings.Builder
	section := func(title string, lines []string) {
		if len(lines) > 0 {
			fmt.Fprintf(&out, "\n%s\n", words[title])
			for _, line := range lines {
				fmt.Fprintf(&out, "- %s\n", strings.Join(strings.Fields(line), " "))
			}
		}
	}
	fmt.Fprintf(&out, "%s\n", words["jobcard_title"])
	section("jobcard_dangers", each(r.GetDangers(),
		func(d *lightoffv1.Danger) string { return d.GetTitle() + ". " + d.GetText() }))
	fmt.Fprintf(&out, "\n%s: %s\n", words["jobcard_opened"], r.GetOpenedAt().AsTime().Format("2006-01-02 15:04 UTC"))
	if r.GetAssignedTo() != "" {
		fmt.Fprintf(&out, "%s: %s\n", words["jobcard_held"], r.GetAssignedTo())
	}
	if c := r.GetClosing(); c != nil {
		section("jobcard_outcome", []string{d.closingText(c, r.GetLocale(), words)})
	}
	section("jobcard_told", each(r.GetTold(), (*lightoffv1.Told).GetText))
	section("jobcard_causes", each(r.GetCauses(), func(c *lightoffv1.RankedCause) string {
		return fmt.Sprintf("%s: %.0f %% (%s)", c.GetTitle(), min(99, max(1, 100*c.GetProbability())), c.GetLikelihood())
	}))
	section("jobcard_odd", each(r.GetContradictions(), (*lightoffv1.Contradiction).GetText))
	section("jobcard_plan", each(r.GetPlan(), func(s *lightoffv1.PlanStep) string {
		line := fmt.Sprintf("%s (%.0f min)", s.GetTitle(), s.GetMinutes())
		if s.GetHeldBack() != "" {
			return line + ". " + words["jobcard_wait"] + ": " + s.GetHeldBack()
		}
		return line + ". " + strings.Join(s.GetCautions(), " ")
	}))
	section("jobcard_notes", each(r.GetNotes(), func(n *lightoffv1.Note) string {
		return n.GetAt().AsTime().Format("2006-01-02 15:04") + " " + n.GetBy() + ": " + n.GetText()
	}))
	fmt.Fprintf(&out, "\n%s\n", words["jobcard_end"])
	return out.String()
}

func (d *desk) closingText(c *lightoffv1.Closing, locale string, words map[string]string) string {
	parts := []string{words[outcomeWords[outcomes[c.GetOutcome()]]]}
	texts := d.model.Text(locale)
	for _, id := range c.GetCauseIds() {
		parts = append(parts, texts.Causes[id].Title)
	}
	if by := finderWords[finders[c.GetFoundBy()]]; by != "" {
		parts = append(parts, words["jobcard_by"]+" "+words[by])
	}
	if sure := suretyWords[sureties[c.GetSurety()]]; sure != "" {
		parts = append(parts, words[sure])
	}
	if c.GetRemark() != "" {
		parts = append(parts, c.GetRemark())
	}
	return strings.Join(parts, "; ")
}
