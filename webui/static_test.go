package webui_test

import (
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/webui"
)

func get(t *testing.T, url string, head http.Header) (*http.Response, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	require.NoError(t, err)
	for name, values := range head {
		req.Header[name] = values
	}
	resp, err := (&http.Transport{DisableCompression: true}).RoundTrip(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp, string(body)
}

func TestHeaders(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	for _, path := range []string{"/", "/c/some-key", "/static/x/main.js", "/nothing"} {
		t.Run(path, func(t *testing.T) {
			resp, _ := get(t, site.URL+path, nil)
			csp := resp.Header.Get("Content-Security-Policy")
			assert.Contains(t, csp, "default-src 'none'")
			assert.NotContains(t, csp, "unsafe")
			assert.NotContains(t, csp, "*")
			assert.Equal(t, "nosniff", resp.Header.Get("X-Content-Type-Options"))
			assert.Equal(t, "no-referrer", resp.Header.Get("Referrer-Policy"))
		})
	}
}

func TestPagesAndFiles(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	resp, page := get(t, site.URL+"/", nil)
	assert.Equal(t, http.StatusOK, resp.StatusCode)
	assert.Equal(t, "no-cache", resp.Header.Get("Cache-Control"))
	_, same := get(t, site.URL+"/c/some-key", nil)
	assert.Equal(t, page, same, "one document for all addresses")
	assert.Contains(t, page, "This defers to the heater’s own instructions, local codes and licensed work on gas, fuel, electrics and vehicles.")
	for _, number := range []string{"112", "999", "911"} {
		assert.Contains(t, page, `href="tel:`+number+`"`, "the call links need no script")
	}

	again, _ := get(t, site.URL+"/", http.Header{"If-None-Match": {resp.Header.Get("ETag")}})
	assert.Equal(t, http.StatusNotModified, again.StatusCode)

	files := regexp.MustCompile(`"(/static/[^"]+)"`).FindAllStringSubmatch(page, -1)
	require.GreaterOrEqual(t, len(files), 8)
	for _, file := range files {
		resp, body := get(t, site.URL+file[1], nil)
		assert.Equal(t, http.StatusOK, resp.StatusCode, file[1])
		assert.Contains(t, resp.Header.Get("Cache-Control"), "immutable", file[1])
		packed, small := get(t, site.URL+file[1], http.Header{"Accept-Encoding": {"br, gzip"}})
		if packed.Header.Get("Content-Encoding") == "gzip" {
			assert.Less(t, len(small), len(body), file[1])
		}
	}
	stale, _ := get(t, site.URL+"/static/older/main.js", nil)
	assert.Equal(t, "no-cache", stale.Header.Get("Cache-Control"), "a file of another version is not kept")
	for _, path := range []string{"/static/x/index.html", "/static/x/absent.js", "/c/", "/c/a/b", "/socket"} {
		resp, _ := get(t, site.URL+path, nil)
		assert.GreaterOrEqual(t, resp.StatusCode, 400, path)
	}
}

// later are the scripts that the page fetches once there is something to work out.
var later = []string{"cards.js", "plot.js"}

// TestWeight keeps the first load, all files that it needs uncompressed, below 100 kB, what comes later below 40 kB, and
// the scripts below 1,250 lines.
func TestWeight(t *testing.T) {
	bytes, after, lines := 0, 0, 0
	files := staticFiles(t)
	for name, content := range files {
		if contains(later, name) {
			after += len(content)
			assert.NotContains(t, files["index.html"], name)
		} else {
			bytes += len(content)
		}
		if filepath.Ext(name) == ".js" {
			lines += strings.Count(content, "\n")
		}
	}
	assert.Less(t, bytes, 100_000)
	assert.Less(t, after, 40_000)
	assert.Less(t, lines, 1250)
	t.Logf("%d bytes, %d later, %d lines of script", bytes, after, lines)
}

// TestNothingForeign finds addresses of other sites, markup made from text and scripts or styles inside the page.
func TestNothingForeign(t *testing.T) {
	banned := regexp.MustCompile(`https?://|innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|<style|style="|<script>|\son\w+="|localStorage|console\.`)
	namespace := "http://www.w3.org/2000/svg" // a name, fetched by nobody
	for name, content := range staticFiles(t) {
		assert.Empty(t, banned.FindAllString(strings.ReplaceAll(content, namespace, ""), -1), name)
		if filepath.Ext(name) == ".js" {
			assert.True(t, strings.HasPrefix(content, "// @ts-check\n"), name)
		}
	}
}

func staticFiles(t *testing.T) map[string]string {
	t.Helper()
	paths, err := filepath.Glob("static/*")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	files := make(map[string]string)
	for _, path := range paths {
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		files[filepath.Base(path)] = string(content)
	}
	return files
}

// The palette's names by what they are for. Inks are text on any surface; fills carry their own text; the edges and
// marks must stand out from any surface. Hairlines are ornament and carry nothing.
var (
	surfaces = []string{"soot", "lamp", "paper", "well"}
	inks     = []string{"ink", "ink-soft", "ember-ink", "frost-ink", "danger-ink"}
	onFill   = map[string]string{"on-ember": "ember", "on-danger": "danger"}
	marks    = []string{"edge", "ember", "frost", "danger", "focus"}
	ornament = []string{"hair"}
)

// TestContrast computes every pair of colours that the stylesheet can bring together, in each scheme, by the formula of
// WCAG 2.2: success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1).
func TestContrast(t *testing.T) {
	css := staticFiles(t)["style.css"]
	palettes := regexp.MustCompile(`:root \{([^}]*)\}`).FindAllStringSubmatch(css, -1)
	require.Len(t, palettes, 3, "light, dark, print")
	for i, scheme := range []string{"light", "dark", "print"} {
		t.Run(scheme, func(t *testing.T) {
			colours := make(map[string]string)
			for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`).FindAllStringSubmatch(palettes[i][1], -1) {
				colours[m[1]] = m[2]
			}
			least, leastMark := math.Inf(1), math.Inf(1)
			for _, surface := range surfaces {
				for _, ink := range inks {
					c := contrast(t, colours[ink], colours[surface])
					least = min(least, c)
					assert.GreaterOrEqual(t, c, 4.5, "%s on %s", ink, surface)
				}
				for _, mark := range marks {
					c := contrast(t, colours[mark], colours[surface])
					leastMark = min(leastMark, c)
					assert.GreaterOrEqual(t, c, 3.0, "%s on %s", mark, surface)
				}
			}
			for text, fill := range onFill {
				assert.GreaterOrEqual(t, contrast(t, colours[text], colours[fill]), 4.5, "%s on %s", text, fill)
			}
			assert.Len(t, colours, len(surfaces)+len(inks)+len(onFill)+len(marks)+len(ornament), "each colour has its purpose")
			t.Logf("least contrast: text %.2f, marks %.2f", least, leastMark)
		})
	}
}

// TestColoursAreUsedAsMeant reads every rule: no colour outside the palettes, text in inks or on its own fill,
// backgrounds of surfaces or fills.
func TestColoursAreUsedAsMeant(t *testing.T) {
	css := staticFiles(t)["style.css"]
	css = regexp.MustCompile(`(?s)/\*.*?\*/|:root \{[^}]*\}`).ReplaceAllString(css, "")
	assert.NotRegexp(t, `#[0-9a-fA-F]{3,8}\b[^{]*;`, regexp.MustCompile(`[^{}]*\{`).ReplaceAllString(css, "{"), "a colour outside the palettes")
	for _, rule := range regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`).FindAllStringSubmatch(css, -1) {
		selector, body := strings.TrimSpace(rule[1]), rule[2]
		text := property(body, "color")
		ground := property(body, "background")
		// White keys on a danger are the danger's own pair, turned round.
		turned := text == "danger" && ground == "on-danger"
		if text != "" && !turned {
			fill, carried := onFill[text]
			assert.True(t, carried && ground == fill || !carried && contains(inks, text), "%s: text in %s on %s", selector, text, ground)
		}
		if ground != "" && !turned && text == "" {
			known := contains(surfaces, ground) || contains(marks, ground) || contains(ornament, ground) || ground == "on-danger"
			assert.True(t, known, "%s: background %s", selector, ground)
		}
	}
}

// property returns the palette name that a declaration of the rule uses, or "".
func property(body, name string) string {
	m := regexp.MustCompile(`(?:^|[;\s])` + name + `:[^;]*?var\(--([a-z-]+)\)\s*(?:;|$)`).FindStringSubmatch(strings.TrimSpace(body))
	if m == nil {
		return ""
	}
	return m[1]
}

func contains(names []string, name string) bool {
	for _, n := range names {
		if n == name {
			return true
		}
	}
	return false
}

// contrast is the contrast ratio of WCAG 2.2, "contrast ratio" and "relative luminance" in its glossary.
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	require.Len(t, hex, 7, "a colour is missing")
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		require.NoError(t, err)
		c := float64(v) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

// TestContrastFormula checks the formula: black on white is 21:1 by the glossary; #767676 on white is the known
// greyest text that passes 4.5:1 (value computed by hand from the formula: 4.54).
func TestContrastFormula(t *testing.T) {
	assert.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9)
	assert.InDelta(t, 4.54, contrast(t, "#767676", "#ffffff"), 0.005)
}
