package webui_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"

	"lightoff/webui"
	"lightoff/webui/pagetest"
)

// TestThemeOfASite runs the page's own judge of another site's colours: what could hardly be read by WCAG 2.2 (1.4.3,
// 1.4.11) is not taken at all, and danger keeps its colour.
func TestThemeOfASite(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	p.Scheme("light")
	css := staticFiles(t)["style.css"]
	light := regexp.MustCompile(`:root \{([^}]*)\}`).FindStringSubmatch(css)[1]
	ours := "{"
	for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(light, -1) {
		ours += fmt.Sprintf("%q: %q,", m[1], m[2])
	}
	ours += "}"
	tests := []struct {
		name, query string
		want        string // "" if ours stay
	}{
		{"none", "", ""},
		{"white paper", "paper=%23ffffff&ink=%23101010", "#ffffff"},
		{"pale ink", "paper=%23ffffff&ink=%23aaaaaa", ""},
		{"paper like danger", "paper=%23b3111b", ""},
		{"black paper under our dark inks", "paper=%23000000", ""},
		{"pale accent", "paper=%23ffffff&accent=%23ffee88", ""},
		{"no colour", "paper=red", ""},
		{"a rule", "paper=%23ffffff;}body{display:none", ""},
		{"an address", "paper=url(https://forum.example)", ""},
		{"danger is not for sale", "danger=%23ffffff", ""},
	}
	for _, tt := range tests {
		js := fmt.Sprintf(
			`import(document.querySelector("[href$='state.js']").href.replace("state.js", "framed.js")).then((m) => {
			const ours = %s, p = m.palette(new URLSearchParams(%q), ours);
			return p === null ? "" : p.danger === ours.danger && p.alert === ours.alert ? p.paper : "danger changed"; })`, ours,
			tt.query)
		assert.Equal(t, tt.want, pagetest.Eval[string](p, js), tt.name)
	}
}

// TestFramesOfOtherSites: only a listed site's address is put into the policy, and nothing else of the request.
func TestFramesOfOtherSites(t *testing.T) {
	site := serve(t, newFake(), webui.Options{Embed: []string{"https://forum.example", "https://boats.example:8443"}})
	for host, want := range map[string]int{
		"https://forum.example": 200, "https://boats.example:8443": 200, "https://FORUM.example": 403,
		"https://forum.example/":             403,
		"https://forum.example.evil.example": 403, "https://boats.example": 403, "https://forum.example *": 403, "null": 403,
		"": 403, "*": 403,
	} {
		resp, body := get(t, site.URL+"/embed?host="+url.QueryEscape(host), nil)
		assert.Equal(t, want, resp.StatusCode, host)
		csp := resp.Header.Get("Content-Security-Policy")
		if want == 200 {
			assert.Contains(t, csp, "frame-ancestors "+host+";")
			assert.Contains(t, body, `data-place="framed"`)
		} else {
			assert.Contains(t, csp, "frame-ancestors 'none'", host)
		}
	}
	script, text := get(t, site.URL+"/widget.js", nil)
	assert.Equal(t, "cross-origin", script.Header.Get("Cross-Origin-Resource-Policy"))
	assert.Contains(t, text, "m.origin !== service || m.source !== frame.contentWindow")
	assert.Contains(t, strings.Join(script.Header["Content-Type"], ""), "javascript")
}

// TestLaterModulesComeLater: the owner's first load names nothing of the desk's, of frames and of handing over.
func TestLaterModulesComeLater(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	_, page := get(t, site.URL+"/", nil)
	for _, name := range []string{"desk", "queue", "stats", "hand", "mend", "framed", "shorthand", "widget"} {
		assert.NotContains(t, page, "/"+name+".", name)
	}
	for _, place := range []string{"/look/some-key", "/desk", "/desk/c/some-key"} {
		resp, _ := get(t, site.URL+place, http.Header{"Accept-Language": {"de"}})
		assert.Equal(t, http.StatusOK, resp.StatusCode)
		assert.Equal(t, "noindex", resp.Header.Get("X-Robots-Tag"))
		assert.Equal(t, "de", resp.Header.Get("Content-Language"))
	}
}

// TestRangeOfAShare: the whiskers of the plot that holds what was said against what was so. Values for 95 in 100 are
// those of Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine 17 (1998), table
// I, method 3; from memory, and as the formula gives them.
func TestRangeOfAShare(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	for _, tt := range []struct{ right, n, low, high float64 }{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718},
	} {
		js := fmt.Sprintf(`import(document.querySelector("[href$='state.js']").href.replace("state.js", `+
			`"trends.js")).then((m) => m.shareRange(%g, %g, 1.959964))`, tt.right, tt.n)
		got := pagetest.Eval[[]float64](p, js)
		assert.InDelta(t, tt.low, got[0], 5e-5, "%g of %g", tt.right, tt.n)
		assert.InDelta(t, tt.high, got[1], 5e-5, "%g of %g", tt.right, tt.n)
	}
}

// TestGroupsOfCalls: danger stands before all, an alarm is what nobody attends to, and what has been quiet for a day
// waits no more.
func TestGroupsOfCalls(t *testing.T) {
	p := visit(t, newHouse(t), "/")
	js := `import(document.querySelector("[href$='state.js']").href.replace("state.js", "calls.js")).then((m) => {
		const now = Date.parse("2026-01-02T12:00:00Z"), at = (h) => new Date(now - h * 3600000).toISOString();
		const calls = [
			{ id: "leave", changedAt: at(30), dangers: [{ severity: "SEVERITY_LEAVE_NOW" }] },
			{ id: "had", changedAt: at(1), assignedTo: "Ines", dangers: [{ severity: "SEVERITY_LEAVE_NOW" }] },
			{ id: "care", changedAt: at(1), dangers: [{ severity: "SEVERITY_CAUTION" }] },
			{ id: "held", changedAt: at(30), assignedTo: "Otto" },
			{ id: "quiet", changedAt: at(25) },
			{ id: "over", changedAt: at(1), closing: {}, dangers: [{ severity: "SEVERITY_NO_START" }] }];
		return [calls.map((c) => c.id + " " + m.groupOf(c, now)).join(), calls.filter(m.isAlarm).map((c) => c.id).join(),
			[at(0.01), at(0.5), at(5), at(60)].map((t) => m.since(t, now).replace(/ .*/, "")).slice(0, 1).join()].join("|"); })`
	pagetest.Eval[chromedp.Void](p,
		`import(document.querySelector("[href$='state.js']").href.replace("state.js", "text.js")).then((m) => `+
			`m.speakMore()).then(() => 0)`)
	assert.Equal(t, "leave danger,had danger,care waiting,held held,quiet quiet,over ended|leave|0:36",
		pagetest.Eval[string](p, js))
}
