package judge

import (
	"encoding/xml"
	"fmt"
	"strings"
)

// SVG draws the report: first place by adviser, and the reliability of what was said.
func (r *Report) SVG() string {
	var b strings.Builder
	fmt.Fprintf(&b,
		`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 860 %d" font-family="sans-serif" font-size="13">`+"\n",
		420+22*len(r.Codes))
	fmt.Fprintf(&b, `<title>How the diagnosis fared with %d simulated heaters</title><rect width="100%%" height="100%%" `+
		`fill="white"/>`+"\n", r.Cases)
	r.bars(&b)
	r.diagram(&b)
	r.codes(&b)
	b.WriteString("</svg>\n")
	return b.String()
}

func text(b *strings.Builder, x, y float64, s string) {
	var escaped strings.Builder
	_ = xml.EscapeText(&escaped, []byte(s)) // a strings.Builder takes all
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f">%s</text>`+"\n", x, y, escaped.String())
}

// whisker draws a share as a bar with its interval.
func whisker(b *strings.Builder, x, y, wide, tall float64, s Share, colour string) {
	low, high := s.Interval()
	fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s"/>`, x, y, wide*s.P(), tall, colour)
	fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="black"/>`+"\n", x+wide*low, y+tall/2,
		x+wide*high, y+tall/2)
}

func (r *Report) bars(b *strings.Builder) {
	text(b, 20, 24, fmt.Sprintf("First place in %d cases: on what was told (pale), after %d checks (dark)", r.Cases,
		MostChecks))
	names := append([]string{"this engine"}, Advisers...)
	first, after := append([]Share{r.All.First}, r.RivalsFirst...), append([]Share{r.All.FirstAfter}, r.RivalsAfter...)
	for i, name := range names {
		y := 40 + 50*float64(i)
		text(b, 20, y+22, name)
		whisker(b, 150, y, 250, 16, first[i], "#9ecae1")
		whisker(b, 150, y+18, 250, 16, after[i], "#3182bd")
		text(b, 408, y+13, fmt.Sprintf("%.0f %%", 100*first[i].P()))
		text(b, 408, y+31, fmt.Sprintf("%.0f %%", 100*after[i].P()))
	}
}

func (r *Report) diagram(b *strings.Builder) {
	const x0, y0, size = 520.0, 300.0, 250.0
	bins, expected := Reliability(r.Leading)
	text(b, x0, 24, fmt.Sprintf("Leading cause: said and true (error %.3f)", expected))
	fmt.Fprintf(b, `<rect x="%.0f" y="%.0f" width="%.0f" height="%.0f" fill="none" stroke="gray"/>`, x0, y0-size, size,
		size)
	fmt.Fprintf(b, `<line x1="%.0f" y1="%.0f" x2="%.0f" y2="%.0f" stroke="gray" stroke-dasharray="4"/>`+"\n", x0, y0,
		x0+size, y0-size)
	for _, bin := range bins {
		if bin.Of == 0 {
			continue
		}
		low, high := bin.Interval()
		x := x0 + size*bin.Said
		fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="#3182bd"/>`, x, y0-size*low, x, y0-size*high)
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="4" fill="#3182bd"><title>%d cases</title></circle>`+"\n", x,
			y0-size*bin.P(), bin.Of)
	}
	text(b, x0, y0+18, "0 — probability said — 1; height: share that was true")
}

func (r *Report) codes(b *strings.Builder) {
	text(b, 20, 360, "First place after the checks, by what the panel shows: this engine, and naive Bayes (grey)")
	for i, row := range r.Codes {
		y := 376 + 22*float64(i)
		text(b, 20, y+13, fmt.Sprintf("%s (%d)", row.Name, row.Cases))
		whisker(b, 170, y, 500, 9, row.FirstAfter, "#3182bd")
		if len(row.Rivals) > 1 {
			whisker(b, 170, y+9, 500, 7, row.Rivals[1], "#bdbdbd")
		}
	}
}
