package judge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
)

// Share is how often something happened, with Wilson's interval of 95 %.
type Share struct{ Hits, Of int }

// Interval is Wilson's score interval of 95 %. Source: Wilson 1927, Journal of the American Statistical Association 22.
func (s Share) Interval() (low, high float64) {
	if s.Of == 0 {
		return 0, 1
	}
	const z = 1.959964
	n, p := float64(s.Of), float64(s.Hits)/float64(s.Of)
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}

// P is the share itself.
func (s Share) P() float64 { return float64(s.Hits) / float64(max(1, s.Of)) }

// String writes a share in percent with its interval.
func (s Share) String() string {
	low, high := s.Interval()
	return fmt.Sprintf("%.1f %% (%.1f to %.1f)", 100*s.P(), 100*low, 100*high)
}

func (s *Share) add(hit bool) {
	s.Of++
	if hit {
		s.Hits++
	}
}

// Bin is one bar of a reliability diagram.
type Bin struct {
	Share
	Said float64 // mean probability
}

// Reliability bins probabilities by tenths and gives the expected calibration error: the mean distance of what was said
// from what was so, by the number in each bin.
func Reliability(ps []Probability) (bins [10]Bin, expected float64) {
	for _, p := range ps {
		b := &bins[min(9, int(p.P*10))]
		b.add(p.True)
		b.Said += p.P
	}
	for i := range bins {
		if b := &bins[i]; b.Of > 0 {
			b.Said /= float64(b.Of)
			expected += math.Abs(b.Said-b.P()) * float64(b.Of) / float64(len(ps))
		}
	}
	return bins, expected
}

// Row is what a group of cases came to.
type Row struct {
	Name                                            string
	Cases                                           int
	First, Third, FirstAfter, ThirdAfter, Led, Mend Share
	Rivals                                          []Share // first after all checks, by adviser
	checks, minutes                                 []float64
}

func (r *Row) add(out *Result, place func(step int) int) {
	r.Cases++
	last := len(out.Places) - 1
	r.First.add(place(0) == 1)
	r.Third.add(place(0) <= 3)
	r.FirstAfter.add(place(last) == 1)
	r.ThirdAfter.add(place(last) <= 3)
	r.Mend.add(out.Repair)
	at := last + 1
	for k := last; k >= 0 && place(k) == 1; k-- {
		at = k
	}
	r.Led.add(at <= last)
	if at <= last {
		r.checks = append(r.checks, float64(at))
		r.minutes = append(r.minutes, out.Minutes[at])
	}
	for i := range out.Rivals {
		if len(r.Rivals) <= i {
			r.Rivals = append(r.Rivals, Share{})
		}
		r.Rivals[i].add(out.Rivals[i][last] == 1)
	}
}

// Report sums up results.
type Report struct {
	Cases, Undrawn           int
	Barred                   []string // causes that the simulation does not know, never drawn
	All                      Row
	Owners, Codes, Causes    []*Row
	RivalsFirst, RivalsAfter []Share // by adviser, on what was told and at the end
	Leading, AtFirst, AtEnd  []Probability
	Confusions               map[[2]string]int
	// by code and true cause: how often each cause led in the end
	Led                              map[string]map[string]map[string]int
	Missed, Unasked, Unlooked, Wrong map[string]int
	MissedIn, UnaskedIn, SilentIn    int
	Faults                           map[int]int // cases by their number of true causes
	Repairs                          map[int]int // cases by the number of repairs up to the right one; 0 for none
	Chosen                           map[int]int // the same without steps that only make safe
	checks, spent, euros             []float64   // of those that found it
	truths                           []float64
	takenLead, takenAll              [4][]Probability // by answer to whether a cause takes part
	stated                           map[string]float64
}

// Sum sums up results. stated are the shares of causes that were wanted.
func (j *Judge) Sum(results []Result) *Report {
	r := &Report{Barred: j.lottery.barred, Confusions: map[[2]string]int{}, Led: map[string]map[string]map[string]int{},
		Missed: map[string]int{}, Unasked: map[string]int{}, Unlooked: map[string]int{}, Wrong: map[string]int{},
		Faults: map[int]int{}, Repairs: map[int]int{}, Chosen: map[int]int{}, stated: map[string]float64{}}
	r.All.Name = "all"
	for _, c := range j.model.Causes {
		r.stated[c.ID] = c.PerThousand / 1000
	}
	r.RivalsFirst, r.RivalsAfter = make([]Share, len(j.advisers)), make([]Share, len(j.advisers))
	owners, codes, causes := map[string]*Row{}, map[string]*Row{}, map[string]*Row{}
	for i := range results {
		out := &results[i]
		if out.Undrawn {
			r.Undrawn++
			continue
		}
		if len(out.Wrong) > 0 {
			for _, w := range out.Wrong {
				r.Wrong[w]++
			}
		}
		if len(out.Places) == 0 {
			continue
		}
		r.Cases++
		whole := func(k int) int { return out.Places[k] }
		r.All.add(out, whole)
		row(owners, out.Owner).add(out, whole)
		row(codes, out.Code).add(out, whole)
		for _, id := range out.Truth {
			row(causes, id).add(out, func(k int) int { return out.Each[k][id] })
		}
		r.count(out)
	}
	r.Owners, r.Codes, r.Causes = sorted(owners), sorted(codes), sorted(causes)
	return r
}

func (r *Report) count(out *Result) {
	last := len(out.Places) - 1
	for i := range out.Rivals {
		r.RivalsFirst[i].add(out.Rivals[i][0] == 1)
		r.RivalsAfter[i].add(out.Rivals[i][last] == 1)
	}
	r.Faults[len(out.Truth)]++
	r.Chosen[out.Chosen]++
	if r.Repairs[out.Repairs]++; out.Repairs > 0 {
		r.checks, r.spent, r.euros = append(r.checks, float64(out.Checks)), append(r.spent, out.Spent),
			append(r.euros, out.Euros)
	}
	r.Leading = append(r.Leading, out.Leading[last])
	r.AtFirst, r.AtEnd = append(r.AtFirst, out.First...), append(r.AtEnd, out.Last...)
	r.countTaken(out)
	if r.Led[out.Code] == nil {
		r.Led[out.Code] = map[string]map[string]int{}
	}
	for _, id := range out.Truth {
		if r.Led[out.Code][id] == nil {
			r.Led[out.Code][id] = map[string]int{}
		}
		r.Led[out.Code][id][out.Leaders[last]]++
	}
	if out.Places[last] != 1 {
		for _, id := range out.Truth {
			r.Confusions[[2]string{id, out.Leaders[last]}]++
		}
	}
	if len(out.Missed) > 0 {
		r.MissedIn++
	}
	slices.Sort(out.Missed)
	for _, m := range slices.Compact(out.Missed) {
		r.Missed[m]++
	}
	if len(out.Unasked) > 0 {
		r.UnaskedIn++
	}
	for _, m := range out.Unasked {
		r.Unasked[m]++
	}
	for _, m := range out.Unlooked {
		r.Unlooked[m]++
	}
	if out.Silent {
		r.SilentIn++
	}
}

func row(m map[string]*Row, name string) *Row {
	if m[name] == nil {
		m[name] = &Row{Name: name}
	}
	return m[name]
}

func sorted(m map[string]*Row) []*Row {
	rows := slices.Collect(maps.Values(m))
	slices.SortFunc(rows, func(a, b *Row) int {
		return cmp.Or(cmp.Compare(b.Cases, a.Cases),
			cmp.Compare(a.Name, b.Name))
	})
	return rows
}

func median(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(xs))
	return s[len(s)/2]
}

// Text writes the report for people to read.
func (r *Report) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d simulated heaters judged, %d drawn whose faults led to no complaint and left out.\n", r.Cases,
		r.Undrawn)
	if len(r.Barred) > 0 {
		fmt.Fprintf(&b, "Never drawn, since the simulation does not know them: %s.\n", strings.Join(r.Barred, ", "))
	}
	fmt.Fprintf(&b, "Shares with Wilson's interval of 95 %%. A case counts as right if a true cause leads; by cause, "+
		"the other true ones left out.\n")
	fmt.Fprintf(&b, "True causes in a case: ")
	for _, n := range slices.Sorted(maps.Keys(r.Faults)) {
		fmt.Fprintf(&b, "%d in %d; ", n, r.Faults[n])
	}
	fmt.Fprintf(&b, "\n\n")
	table := func(title string, rows ...*Row) {
		w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
		fmt.Fprintf(w, "%s\tcases\tfirst, told\tamong 3, told\tfirst, after %d\tamong 3\tled from some check "+
			"on\tchecks\tmin\trepair\t%s\n", title, MostChecks, strings.Join(Advisers, "\t"))
		for _, x := range rows {
			fmt.Fprintf(w, "%s\t%d\t%v\t%.0f %%\t%v\t%.0f %%\t%.0f %%\t%.0f\t%.0f\t%v", x.Name, x.Cases, x.First,
				100*x.Third.P(), x.FirstAfter, 100*x.ThirdAfter.P(), 100*x.Led.P(),
				median(x.checks), median(x.minutes), x.Mend)
			for _, v := range x.Rivals {
				fmt.Fprintf(w, "\t%.0f %%", 100*v.P())
			}
			fmt.Fprintln(w)
		}
		w.Flush()
		fmt.Fprintln(&b)
	}
	table("all", &r.All)
	table("owner's tools", r.Owners...)
	table("code", r.Codes...)
	table("cause", r.Causes...)
	r.repairs(&b)
	r.advisers(&b)
	r.calibration(&b)
	r.taken(&b)
	r.dangers(&b)
	r.confusions(&b)
	return b.String()
}

func (r *Report) repairs(b *strings.Builder) {
	fmt.Fprintf(b, "Repairs up to the right one: ")
	so := 0
	for n := 1; n <= MostRepairs; n++ {
		so += r.Repairs[n]
		fmt.Fprintf(b, "%d or fewer in %v; ", n, Share{so, r.Cases})
	}
	fmt.Fprintf(b, "none of %d in %v\n", MostRepairs, Share{r.Repairs[0], r.Cases})
	fmt.Fprintf(b, "The same, what a standing danger asks for first and mends no true cause taken for making safe and "+
		"not counted: 1 in %v; 2 or fewer in %v\n",
		Share{r.Chosen[1], r.Cases}, Share{r.Chosen[1] + r.Chosen[2], r.Cases})
	fmt.Fprintf(b, "Where it was found, median (mean): %.0f (%.1f) checks, %.0f (%.0f) minutes, %.0f (%.0f) euros, "+
		"repairs included\n\n",
		median(r.checks), mean(r.checks), median(r.spent), mean(r.spent), median(r.euros), mean(r.euros))
}

func mean(xs []float64) float64 {
	total := 0.0
	for _, x := range xs {
		total += x
	}
	return total / float64(len(xs))
}

func (r *Report) advisers(b *strings.Builder) {
	fmt.Fprintf(b, "First place on what was told, and after the checks that this engine asked for:\n")
	fmt.Fprintf(b, "  this engine: %v; %v\n", r.All.First, r.All.FirstAfter)
	for i, name := range Advisers {
		fmt.Fprintf(b, "  %s: %v; %v\n", name, r.RivalsFirst[i], r.RivalsAfter[i])
	}
	for _, x := range r.Codes {
		for i, v := range x.Rivals {
			if v.P() > x.FirstAfter.P() {
				fmt.Fprintf(b, "  behind %s at %s: %v against %v\n", Advisers[i], x.Name, x.FirstAfter, v)
			}
		}
	}
	fmt.Fprintln(b)
}

func (r *Report) calibration(b *strings.Builder) {
	for _, set := range []struct {
		name string
		ps   []Probability
	}{{"the leading cause, after the checks", r.Leading}, {"all causes, on what was told", r.AtFirst},
		{"all causes, after the checks", r.AtEnd}} {
		bins, expected := Reliability(set.ps)
		fmt.Fprintf(b, "Calibration of %s: expected calibration error %.3f\n", set.name, expected)
		for i, bin := range bins {
			if bin.Of > 0 {
				fmt.Fprintf(b, "  %.1f to %.1f: said %.3f, was %v of %d\n", float64(i)/10, float64(i+1)/10, bin.Said, bin.Share,
					bin.Of)
			}
		}
	}
	fmt.Fprintln(b)
}

// Dangers writes down the dangers only.
func (r *Report) Dangers() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d simulated heaters, up to the first check.\n", r.Cases)
	r.dangers(&b)
	return b.String()
}

func (r *Report) dangers(b *strings.Builder) {
	low, high := Share{r.MissedIn, r.Cases}.Interval()
	fmt.Fprintf(b, "Dangers missed, their trigger told: in %d of %d cases (%.2f to %.2f %%)\n", r.MissedIn, r.Cases,
		100*low, 100*high)
	list(b, r.Missed, 20)
	low, high = Share{r.UnaskedIn, r.Cases}.Interval()
	fmt.Fprintf(b, "Dangers that the owner perceived or could recall, and neither told nor was asked before the first "+
		"repair: in %d cases (%.2f to %.2f %%)\n", r.UnaskedIn, 100*low, 100*high)
	list(b, r.Unasked, 20)
	fmt.Fprintf(b, "Dangers to be found by looking, which nobody was asked to look for before the first repair:\n")
	list(b, r.Unlooked, 20)
	fmt.Fprintf(b, "Exhaust inside that nobody could perceive: %d cases\n", r.SilentIn)
	fmt.Fprintf(b, "Checks advised against a standing danger, or requests refused:\n")
	list(b, r.Wrong, 10)
	fmt.Fprintln(b)
}

func list(b *strings.Builder, m map[string]int, most int) {
	keys := slices.SortedFunc(maps.Keys(m), func(x,
		y string) int {
		return cmp.Or(cmp.Compare(m[y], m[x]), cmp.Compare(x, y))
	})
	for _, k := range keys[:min(most, len(keys))] {
		fmt.Fprintf(b, "  %4d  %s\n", m[k], k)
	}
	if len(keys) == 0 {
		fmt.Fprintln(b, "  none")
	}
}

func (r *Report) confusions(b *strings.Builder) {
	fmt.Fprintf(b, "True cause and what led instead after the checks:\n")
	m := map[string]int{}
	for pair, n := range r.Confusions {
		m[pair[0]+" taken for "+pair[1]] = n
	}
	list(b, m, 30)
	r.confusedBy(b)
	fmt.Fprintf(b, "Shares of causes in 1,000: wanted and drawn, where they differ by more than half:\n")
	for _, x := range r.Causes {
		want, got := 1000*r.stated[x.Name], 1000*float64(x.Cases)/float64(r.Cases)
		if got > 1.5*want || got < want/1.5 {
			fmt.Fprintf(b, "  %s: %.0f, %.0f\n", x.Name, want, got)
		}
	}
}

// confusedBy writes, by code, what led in the end where a cause was true, the commonest first.
func (r *Report) confusedBy(b *strings.Builder) {
	fmt.Fprintf(b, "By code: where a cause was true, what led in the end:\n")
	byCount := func(m map[string]int) []string {
		return slices.SortedFunc(maps.Keys(m), func(x,
			y string) int {
			return cmp.Or(cmp.Compare(m[y], m[x]), cmp.Compare(x, y))
		})
	}
	for _, x := range r.Codes {
		all := map[string]int{}
		for id, led := range r.Led[x.Name] {
			for _, n := range led {
				all[id] += n
			}
		}
		fmt.Fprintf(b, "  %s\n", x.Name)
		for _, id := range byCount(all) {
			fmt.Fprintf(b, "    %s %d:", id, all[id])
			led, gap := r.Led[x.Name][id], " "
			for _, other := range byCount(led) {
				fmt.Fprintf(b, "%s%s %d", gap, other, led[other])
				gap = ", "
			}
			fmt.Fprintln(b)
		}
	}
}
