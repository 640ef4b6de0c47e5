package webui

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"html"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

//go:embed static
var static embed.FS

// assets are the embedded files, ready to send. They are known by one version, a digest over all of them, which is
// part of their address: a browser may keep them for ever, and a new build has new addresses.
type assets struct {
	version string
	files   map[string]asset // by path below static
	pages   map[view]string  // without the rules of danger
	dangers *dangers

	mu      sync.Mutex
	whole   map[view]wholePage
	texts   map[string]map[string]string // by language, then by key
	locales []string                     // that the page's texts exist in; the first is the one to fall back to
}

// wholePage is a page with the rules of danger that it holds.
type wholePage struct {
	rules string
	asset asset
}

// view is how the page is dressed before any script runs: its language, whether it is the night view, and for whom it
// is: an owner (empty), one in a frame ("framed"), who looks on ("look"), a desk with its list ("queue") or a card
// ("desk").
type view struct {
	locale string
	night  bool
	place  string
}

// documents are the documents by whom they are for.
var documents = map[string]string{"": "index.html", "framed": "index.html", "look": "index.html", "desk": "index.html",
	"queue": "desk.html"}

type asset struct {
	mime    string
	etag    string
	plain   []byte
	gzipped []byte
}

// loadAssets reads and compresses the embedded files. It panics if they are broken, which only a broken build can do.
func loadAssets(d *dangers) *assets {
	site := &assets{files: make(map[string]asset), pages: make(map[view]string), locales: []string{"en"},
		dangers: d, whole: make(map[view]wholePage), texts: make(map[string]map[string]string)}
	contents := make(map[string][]byte)
	digest := sha256.New()
	err := fs.WalkDir(static, "static", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := static.ReadFile(name)
		name = strings.TrimPrefix(name, "static/")
		contents[name] = content
		digest.Write([]byte(name))
		digest.Write(content)
		return err
	})
	if err != nil {
		panic("webui: " + err.Error())
	}
	site.version = hex.EncodeToString(digest.Sum(nil)[:6])
	for name, content := range contents {
		site.files[name] = newAsset(name, content)
		if locale, ok := strings.CutPrefix(name, "text/"); ok && locale != "en.json" {
			site.locales = append(site.locales, strings.TrimSuffix(locale, ".json"))
		}
	}
	slices.Sort(site.locales[1:])
	for _, locale := range site.locales {
		texts := make(map[string]string)
		for _, folder := range []string{"text", "more"} {
			name := folder + "/" + locale + ".json"
			if err := json.Unmarshal(contents[name], &texts); err != nil {
				panic("webui: " + name + ": " + err.Error())
			}
		}
		site.texts[locale] = texts
		for _, night := range []bool{false, true} {
			for place, name := range documents {
				v := view{locale, night, place}
				site.pages[v] = dress(contents[name], site.version, v, site.locales, texts)
			}
		}
	}
	return site
}

// textPlaces are the elements that the document leaves empty for a text (data-t) and the attributes that it leaves out
// (data-t-name). The page's own script fills the same places when the language is changed.
var textPlaces = regexp.MustCompile(`data-t="([^"]+)"([^>]*>)|data-t-([a-z-]+)="([^"]+)"`)

// dress writes the texts of a language into the document, so that it can be read without a script. It panics where a
// text is missing.
func dress(page []byte, version string, v view, locales []string, texts map[string]string) string {
	text := func(key string) string {
		if texts[key] == "" {
			panic("webui: " + v.locale + " lacks the text " + key)
		}
		return html.EscapeString(texts[key])
	}
	out := textPlaces.ReplaceAllStringFunc(string(page), func(place string) string {
		m := textPlaces.FindStringSubmatch(place)
		if m[1] != "" {
			return place + text(m[1])
		}
		return place + " " + m[3] + `="` + text(m[4]) + `"`
	})
	looks := ` data-languages="` + strings.Join(locales, " ") + `"`
	if v.night {
		looks += ` data-look="night"`
	}
	if v.place != "" {
		looks += ` data-place="` + v.place + `"`
	}
	if v.place != "" { // only an owner's page goes on a home screen
		out = strings.Replace(out, "<link rel=\"manifest\" href=\"/manifest.webmanifest\">\n", "", 1)
	}
	return strings.NewReplacer(
		`<html lang="en">`, `<html lang="`+v.locale+`"`+looks+`>`,
		`"/static/text/en.json"`, `"/static/`+version+`/text/`+v.locale+`.json"`,
		`"/static/`, `"/static/`+version+`/`,
	).Replace(out)
}

// comments are those that begin a line: in the scripts and styles here no text does.
var comments = regexp.MustCompile(`(?m)^[ \t]*(?://[^\n]*|/\*(?s:.*?)\*/)`)

// indents are for who reads the source as well: no text here goes over several lines.
var indents = regexp.MustCompile(`(?m)^[ \t]+`)

// withoutNotes is a script or style without its comments and indentation. Every line keeps its number.
func withoutNotes(content []byte) []byte {
	content = comments.ReplaceAllFunc(content, func(c []byte) []byte {
		return bytes.Repeat([]byte("\n"), bytes.Count(c, []byte("\n")))
	})
	return indents.ReplaceAll(content, nil)
}

func newAsset(name string, content []byte) asset {
	if ext := path.Ext(name); ext == ".js" || ext == ".css" {
		content = withoutNotes(content)
	}
	kind := mime.TypeByExtension(path.Ext(name))
	switch path.Ext(name) {
	case ".js":
		kind = "text/javascript; charset=utf-8"
	case ".webmanifest":
		kind = "application/manifest+json"
	}
	sum := sha256.Sum256(content)
	return asset{mime: kind, etag: hex.EncodeToString(sum[:8]), plain: content,
		gzipped: gzipped(content, gzip.BestCompression)}
}

func gzipped(content []byte, level int) []byte {
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, level)
	if err != nil {
		panic("webui: " + err.Error())
	}
	// A bytes.Buffer refuses no write.
	_, _ = w.Write(content)
	_ = w.Close()
	return packed.Bytes()
}

// page serves the one document, whatever conversation the address names; the page itself asks for that one.
func (s *assets) page(w http.ResponseWriter, r *http.Request, place string) {
	v := view{locale: s.locale(r), place: place}
	if look, err := r.Cookie("look"); err == nil {
		v.night = look.Value == "night"
	}
	if night := r.URL.Query().Get("night"); night != "" { // whoever keeps the page keeps both
		v.night = night == "1"
	}
	head := w.Header()
	head.Set("Cache-Control", "no-cache")
	head.Set("Content-Language", v.locale)
	if place == "" {
		head.Set("Content-Security-Policy", ownersPolicy)
	}
	head.Set("Vary", "Accept-Language, Cookie")
	s.dressed(r.Context(), v).serve(w, r)
}

// rulesPlace is where a document holds the rules of danger, for the page's script to read.
const rulesPlace = `<script type="application/json" id="rules">`

// dressed is a page with the rules of danger in its language, compressed once for as long as they stay the same.
func (s *assets) dressed(ctx context.Context, v view) asset {
	rules := ""
	if strings.Contains(s.pages[v], rulesPlace) {
		rules = s.dangers.in(ctx, v.locale)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	page, ok := s.whole[v]
	if !ok || page.rules != rules {
		page = wholePage{rules, newAsset(documents[v.place],
			[]byte(strings.Replace(s.pages[v], rulesPlace, rulesPlace+rules, 1)))}
		s.whole[v] = page
	}
	return page.asset
}

// locale is the language that the address names, else the one chosen earlier, else the first that the browser's owner
// reads, else the first there is.
func (s *assets) locale(r *http.Request) string {
	wanted := []string{r.URL.Query().Get("lang")}
	if chosen, err := r.Cookie("lang"); err == nil {
		wanted = append(wanted, chosen.Value)
	}
	// Browsers list the languages in the order of preference.
	for tag := range strings.SplitSeq(r.Header.Get("Accept-Language"), ",") {
		tag, quality, _ := strings.Cut(strings.TrimSpace(tag), ";")
		if strings.TrimSpace(quality) != "q=0" {
			wanted = append(wanted, tag)
		}
	}
	for _, tag := range wanted {
		language, _, _ := strings.Cut(strings.ToLower(tag), "-")
		if slices.Contains(s.locales, language) {
			return language
		}
	}
	return s.locales[0]
}

// file serves a style or script. One of another version is answered with the present one, not to be kept, so that a
// page still open during an update stays whole.
func (s *assets) file(w http.ResponseWriter, r *http.Request) {
	file, ok := s.files[r.PathValue("name")]
	if !ok || path.Ext(r.PathValue("name")) == ".html" {
		http.NotFound(w, r)
		return
	}
	keep := "no-cache"
	if r.PathValue("version") == s.version {
		keep = "public, max-age=31536000, immutable"
	}
	w.Header().Set("Cache-Control", keep)
	if r.PathValue("name") == "engine.js" {
		w.Header().Set("Content-Security-Policy", enginePolicy)
	}
	file.serve(w, r)
}

// widget serves the script that puts a conversation into a page of another site. Its address holds no version, for it
// stands in that page.
func (s *assets) widget(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "public, max-age=300")
	w.Header().Set("Cross-Origin-Resource-Policy", "cross-origin")
	s.files["widget.js"].serve(w, r)
}

func (a asset) serve(w http.ResponseWriter, r *http.Request) {
	head := w.Header()
	head.Set("Content-Type", a.mime)
	head.Add("Vary", "Accept-Encoding")
	content, etag := a.plain, a.etag
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && len(a.gzipped) < len(a.plain) {
		head.Set("Content-Encoding", "gzip")
		content, etag = a.gzipped, a.etag+"-gz"
	}
	head.Set("ETag", `"`+etag+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}
