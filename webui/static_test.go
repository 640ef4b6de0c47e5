package webui_test

import (
	"encoding/json"
	"io"
	"io/fs"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lightoffv1 "lightoff/proto/lightoff/v1"
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
	for _, path := range []string{"/", "/c/some-key", "/look/some-key", "/desk", "/desk/c/some-key", "/desk/me", "/embed",
		"/widget.js", "/static/x/main.js", "/static/x/text/de.json", "/nothing"} {
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
	assert.Contains(t, page, "The heater’s own instructions and local rules come first. Work on gas, fuel, electrics "+
		"and vehicles belongs to licensed people.")
	for _, number := range []string{"112", "999", "911"} {
		assert.Contains(t, page, `href="tel:`+number+`"`, "the call links need no script")
	}

	again, _ := get(t, site.URL+"/", http.Header{"If-None-Match": {resp.Header.Get("ETag")}})
	assert.Equal(t, http.StatusNotModified, again.StatusCode)

	files := fileNames(page)
	require.GreaterOrEqual(t, len(files), 8)
	for _, file := range files {
		resp, body := get(t, site.URL+file, nil)
		assert.Equal(t, http.StatusOK, resp.StatusCode, file)
		assert.Contains(t, resp.Header.Get("Cache-Control"), "immutable", file)
		packed, small := get(t, site.URL+file, http.Header{"Accept-Encoding": {"br, gzip"}})
		if packed.Header.Get("Content-Encoding") == "gzip" {
			assert.Less(t, len(small), len(body), file)
		}
	}
	stale, _ := get(t, site.URL+"/static/older/main.js", nil)
	assert.Equal(t, "no-cache", stale.Header.Get("Cache-Control"), "a file of another version is not kept")
	for _, path := range []string{"/static/x/index.html", "/static/x/absent.js", "/c/", "/c/a/b", "/socket"} {
		resp, _ := get(t, site.URL+path, nil)
		assert.GreaterOrEqual(t, resp.StatusCode, 400, path)
	}
}

// TestCommentsStayHere: scripts and styles are sent without the comments and the indentation that are for who reads the
// source; each line keeps its number and all else. So no text between backquotes may go over several lines.
func TestCommentsStayHere(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	alone := regexp.MustCompile("\"`\"|\\[[^\\]]*`") // a backquote as a string or in an expression's set
	for name, content := range staticFiles(t) {
		if ext := filepath.Ext(name); ext != ".js" && ext != ".css" {
			continue
		}
		_, sent := get(t, site.URL+"/static/x/"+name, nil)
		assert.NotRegexp(t, `(?m)^\s*(//|/\*)`, sent, name)
		lines, kept := strings.Split(content, "\n"), strings.Split(sent, "\n")
		require.Len(t, kept, len(lines), name)
		for i, line := range kept {
			assert.True(t, strings.HasSuffix(lines[i], line), "%s:%d", name, i+1)
			if bare := alone.ReplaceAllString(line, ""); strings.HasSuffix(name, ".js") {
				assert.Zero(t, strings.Count(bare, "`")%2, "%s:%d", name, i+1)
			}
		}
	}
}

// TestWeight keeps the first load, the document and all that it names, below 190 kB uncompressed and below 60 kB as it
// is sent, and all scripts, those that come later or only to a desk too, below 120 kB as sent. The model's rules of
// danger come on top; the program's own test weighs them.
func TestWeight(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	for _, locale := range []string{"en", "de"} {
		plain, sent := 0, 0
		_, page := get(t, site.URL+"/?lang="+locale, nil)
		for _, file := range append([]string{"/?lang=" + locale}, fileNames(page)...) {
			_, body := get(t, site.URL+file, nil)
			plain += len(body)
			_, packed := get(t, site.URL+file, http.Header{"Accept-Encoding": {"gzip"}})
			sent += len(packed)
		}
		assert.Less(t, plain, 190_000)
		assert.Less(t, sent, 60_000)
		t.Logf("%s: %d bytes, %d as sent", locale, plain, sent)
	}
	scripts := 0
	for name := range staticFiles(t) {
		if filepath.Ext(name) == ".js" {
			_, packed := get(t, site.URL+"/static/x/"+name, http.Header{"Accept-Encoding": {"gzip"}})
			scripts += len(packed)
		}
	}
	assert.Less(t, scripts, 120_000)
	t.Logf("%d bytes of script as sent", scripts)
}

// fileNames are the addresses of the files that the document names.
func fileNames(page string) []string {
	var names []string
	for _, m := range regexp.MustCompile(`"(/static/[^"]+)"`).FindAllStringSubmatch(page, -1) {
		names = append(names, m[1])
	}
	return names
}

// TestNothingForeign finds addresses of other sites, markup made from text and scripts or styles inside the page.
func TestNothingForeign(t *testing.T) {
	banned := regexp.MustCompile(`https?://|innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new ` +
		`Function|<style|style="|<script>|\son\w+="|localStorage|console\.`)
	namespace := "http://www.w3.org/2000/svg" // a name, fetched by nobody
	for name, content := range staticFiles(t) {
		found := slices.DeleteFunc(banned.FindAllString(strings.ReplaceAll(content, namespace, ""), -1),
			func(word string) bool {
				return word == "localStorage" && name == "keep.js" // where an owner has said keep
			})
		assert.Empty(t, found, name)
		if filepath.Ext(name) == ".js" {
			assert.True(t, strings.HasPrefix(content, "// @ts-check\n"), name)
		}
	}
}

func staticFiles(t *testing.T) map[string]string {
	t.Helper()
	files := make(map[string]string)
	require.NoError(t, filepath.WalkDir("static", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		files[strings.TrimPrefix(filepath.ToSlash(path), "static/")] = string(content)
		return err
	}))
	require.NotEmpty(t, files)
	return files
}

// The palette's names by what they are for. Inks are text on any surface, lights on the dark panes of the instrument;
// fills carry their own text; the edges and marks must stand out from any surface. Ornament carries nothing.
var (
	surfaces = []string{"ground", "paper", "wash"}
	inks     = []string{"ink", "soft", "accent", "danger"}
	panes    = []string{"pan", "lift"}
	lights   = []string{"pan-ink", "pan-soft", "lit"}
	onFill   = map[string]string{"on-accent": "accent", "on-alert": "alert"}
	marks    = []string{"edge", "accent", "danger"}
	ornament = []string{"line", "pan-edge", "pan-dim"}
)

// TestContrast computes every pair of colours that the stylesheet can bring together, in each scheme, by the formula of
// WCAG 2.2: success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1).
func TestContrast(t *testing.T) {
	css := staticFiles(t)["style.css"]
	palettes := regexp.MustCompile(`(?::root[^{]*) \{([^}]*)\}`).FindAllStringSubmatch(css, -1)
	require.Len(t, palettes, 4, "light, dark, night, print")
	for i, scheme := range []string{"light", "dark", "night", "print"} {
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
			for _, pane := range panes {
				for _, light := range lights {
					c := contrast(t, colours[light], colours[pane])
					least = min(least, c)
					assert.GreaterOrEqual(t, c, 4.5, "%s on %s", light, pane)
				}
			}
			for text, fill := range onFill {
				assert.GreaterOrEqual(t, contrast(t, colours[text], colours[fill]), 4.5, "%s on %s", text, fill)
			}
			if scheme == "night" {
				assertNight(t, colours)
			}
			for _, list := range [][]string{surfaces, inks, panes, lights, marks, ornament, {"on-accent", "on-alert", "alert"}} {
				for _, name := range list {
					assert.Contains(t, colours, name)
				}
			}
			assert.Len(t, colours, 19, "each colour has its purpose")
			t.Logf("least contrast: text %.2f, marks %.2f", least, leastMark)
		})
	}
}

// TestColoursAreUsedAsMeant reads every rule: no colour outside the palettes, text in inks or on its own fill,
// backgrounds of surfaces or fills.
func TestColoursAreUsedAsMeant(t *testing.T) {
	css := staticFiles(t)["style.css"] + staticFiles(t)["later.css"] + staticFiles(t)["desk.css"]
	css = regexp.MustCompile(`(?s)/\*.*?\*/|:root[^{ ]* \{[^}]*\}`).ReplaceAllString(css, "")
	assert.NotRegexp(t, `#[0-9a-fA-F]{3,8}\b[^{]*;`, regexp.MustCompile(`[^{}]*\{`).ReplaceAllString(css, "{"),
		"a colour outside the palettes")
	for _, rule := range regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`).FindAllStringSubmatch(css, -1) {
		selector, body := strings.TrimSpace(rule[1]), rule[2]
		text := property(body, "color")
		ground := property(body, "background")
		// White keys on a danger are the danger's own pair, turned round.
		turned := text == "alert" && ground == "on-alert"
		if text != "" && !turned {
			fill, carried := onFill[text]
			assert.True(t, carried && ground == fill || !carried && (contains(inks, text) || contains(lights, text)),
				"%s: text in %s on %s", selector, text, ground)
		}
		if ground != "" && !turned && text == "" {
			known := contains(surfaces, ground) || contains(panes, ground) || contains(marks, ground) ||
				contains(ornament, ground) || contains(lights, ground)
			assert.True(t, known, "%s: background %s", selector, ground)
		}
	}
}

// assertNight holds the night view to what spares eyes that are used to the dark (common practice, no source): red
// light rather than blue, surfaces near black, nothing near white.
func assertNight(t *testing.T, colours map[string]string) {
	t.Helper()
	for name, colour := range colours {
		var rgb [3]uint64
		for i := range rgb {
			rgb[i], _ = strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		}
		assert.GreaterOrEqual(t, rgb[0], rgb[1], "%s: red above green", name)
		assert.LessOrEqual(t, rgb[2], rgb[0]/2, "%s: little blue", name)
		assert.Less(t, luminance(t, colour), 0.45, "%s is dim", name)
	}
	for _, surface := range append(slices.Clone(surfaces), panes...) {
		assert.Less(t, luminance(t, colours[surface]), 0.02, "%s is nearly black", surface)
	}
}

// property returns the palette name that a declaration of the rule uses, or "".
func property(body, name string) string {
	m := regexp.MustCompile(`(?:^|[;\s])` + name +
		`:[^;]*?var\(--([a-z-]+)\)\s*(?:;|$)`).FindStringSubmatch(strings.TrimSpace(body))
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

// TestTexts compares the languages of the page: the same texts with the same gaps, all of them used, none left in
// another language.
func TestTexts(t *testing.T) {
	files := staticFiles(t)
	texts := make(map[string]map[string]string)
	for _, locale := range []string{"en", "de"} {
		spoken := make(map[string]string)
		require.NoError(t, json.Unmarshal([]byte(files["text/"+locale+".json"]), &spoken), locale)
		require.NoError(t, json.Unmarshal([]byte(files["more/"+locale+".json"]), &spoken), locale)
		texts[locale] = spoken
	}
	used := ""
	for name, content := range files {
		if filepath.Ext(name) == ".html" || filepath.Ext(name) == ".js" {
			used += content
		}
	}
	gap := regexp.MustCompile(`\{\w+\}`)
	for key, english := range texts["en"] {
		german, ok := texts["de"][key]
		assert.True(t, ok, "German lacks %s", key)
		assert.ElementsMatch(t, gap.FindAllString(english, -1), gap.FindAllString(german, -1), key)
		assert.NotEmpty(t, strings.TrimSpace(english), key)
		assert.NotRegexp(t, `“[^”]*”|"`, german, "%s: German quotation marks are low and high", key)
		assert.True(t, isUsed(used, key), "%s is used", key)
	}
	for key := range texts["de"] {
		assert.Contains(t, texts["en"], key, "English lacks %s", key)
	}
	english := regexp.MustCompile(`(?i)\b(the|and|you|your|this|of|what|is|not|heater|with|nothing|skip|call|card)\b`)
	german := regexp.MustCompile(`(?i)\b(der|die|das|und|nicht|du|ist|Heizung|mit|nichts|Karte)\b`)
	for key := range texts["en"] {
		assert.NotRegexp(t, english, gap.ReplaceAllString(texts["de"][key], ""), key)
		assert.NotRegexp(t, german, gap.ReplaceAllString(texts["en"][key], ""), key)
	}
}

// TestReasonsAreTranslated: each reason of the API has a text of the page, or is met in another way than by saying it.
func TestReasonsAreTranslated(t *testing.T) {
	otherwise := map[string]string{
		"UNSPECIFIED": "never sent", "NOT_FOUND": "the card is gone", "CANCELLED": "nobody is there to read it",
		"TOO_MANY_REQUESTS": "the page waits", "TOO_MANY_OPENS": "the page waits", "TOO_MANY_STREAMS": "the page waits",
		"BUSY": "the page waits", "STOPPING": "the page dials again", "STORE_UNAVAILABLE": "the page dials again",
		"DEADLINE_EXCEEDED": "the page dials again", "TOO_MANY_CODES": "code.wait", "TOO_MANY_TOKENS": "code.wait",
		"TOKEN_MISSING": "asks for the token", "TOKEN_INVALID": "asks for the token", "TOKEN_SCOPE": "asks for the token",
		"TOO_MANY_SUGGESTIONS": "look.refused", "TOO_MANY_KEYS": "hand.failed",
		"INTERNAL": "refused.other", "NO_SUCH_CALL": "refused.other",
	}
	for _, locale := range []string{"en", "de"} {
		var texts map[string]string
		require.NoError(t, json.Unmarshal([]byte(staticFiles(t)["more/"+locale+".json"]), &texts))
		for _, name := range lightoffv1.ErrorReason_name {
			reason := strings.TrimPrefix(name, "ERROR_REASON_")
			_, said := texts["refused."+reason]
			_, met := otherwise[reason]
			assert.True(t, said != met, "%s: %s", locale, reason)
		}
		for key := range texts {
			if reason, ok := strings.CutPrefix(key, "refused."); ok && reason != "other" {
				assert.Contains(t, lightoffv1.ErrorReason_value, "ERROR_REASON_"+reason)
			}
		}
	}
}

// isUsed reports whether scripts or document name a text, or put its name together from a part and something else.
func isUsed(code, key string) bool {
	for _, quote := range []string{`"`, "`"} {
		if strings.Contains(code, quote+key+`"`) {
			return true
		}
		for i, c := range key {
			if c == '.' && (strings.Contains(code, quote+key[:i+1]+`"`) || strings.Contains(code, quote+key[:i+1]+"${") ||
				strings.Contains(code, `count("`+key[:i]+`"`)) {
				return true
			}
		}
	}
	return false
}

// TestNoTextLeftInScripts finds words for people in scripts and document: those belong into the texts.
func TestNoTextLeftInScripts(t *testing.T) {
	sentence := regexp.MustCompile(`["` + "`" +
		`>]([A-Z][a-z’]+( [a-zA-Z’]+)+[ .:?…]?|[a-z’]+( [a-z’]+){2,})["` + "`" + `<]`)
	for name, content := range staticFiles(t) {
		if filepath.Ext(name) != ".html" && filepath.Ext(name) != ".js" {
			continue
		}
		code := regexp.MustCompile(`(?s)/\*.*?\*/|(?m)^\s*//[^\n]*$|class: `+
			`"[^"]*"|class="[^"]*"|cut\("[^"]*"\)|d="[^"]*"|new Error\([^)]*\)|(?s:SHOWN = \{.*?\};)`).ReplaceAllString(content,
			"")
		assert.Empty(t, sentence.FindAllString(code, -1), name)
	}
}

// TestLanguageOfTheDocument: the address comes first, then what was chosen, then what the browser's owner reads.
func TestLanguageOfTheDocument(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	tests := []struct{ name, path, cookie, accept, want string }{
		{"nothing known", "/", "", "", "en"},
		{"the browser's", "/c/some-key", "", "de-AT,de;q=0.9,en;q=0.8", "de"},
		{"the browser's second", "/", "", "fr-FR, de;q=0.7, en;q=0.3", "de"},
		{"refused", "/", "", "de;q=0, en", "en"},
		{"chosen", "/", "lang=en", "de", "en"},
		{"in the address", "/?lang=de", "lang=en", "en", "de"},
		{"unknown in the address", "/?lang=xx", "lang=de", "en", "de"},
		{"unknown everywhere", "/?lang=../de", "lang=%00", "tlh", "en"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			resp, page := get(t, site.URL+tt.path, http.Header{"Accept-Language": {tt.accept}, "Cookie": {tt.cookie}})
			assert.Equal(t, tt.want, resp.Header.Get("Content-Language"))
			assert.True(t, strings.Contains(page, `<html lang="`+tt.want+`" data-languages="en de">`), "the document says so")
			assert.True(t, strings.Contains(page, `/text/`+tt.want+`.json"`), "its texts are fetched at once")
			first := map[string]string{"en": "everybody out into fresh air, now, and call.",
				"de": "sofort alle hinaus an die frische Luft und Notruf wählen."}
			assert.True(t, strings.Contains(page, first[tt.want]), "the safety card needs no script")
			assert.False(t, strings.Contains(page, `"></h2>`), "no text is missing")
		})
	}
	_, night := get(t, site.URL, http.Header{"Cookie": {"look=night"}})
	assert.True(t, strings.Contains(night, `<html lang="en" data-languages="en de" data-look="night">`),
		"the night view comes dark at once")
}
