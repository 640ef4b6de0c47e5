package webui

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/andybalholm/brotli"
)

// Kit is what a page needs to think without the service. Program and Model are compressed by brotli.
type Kit struct {
	Program []byte // the service for one conversation, as WebAssembly
	Glue    []byte // the script that starts it
	Model   []byte // that it thinks with
}

// The parts of a kit as pages know them.
const (
	programName = "lightoff.wasm"
	glueName    = "wasm_exec.js"
	modelName   = "model"
)

// kits serves what a browser keeps. Everything lies at an address that changes with it.
type kits struct {
	site *assets
	of   func(context.Context) *Kit // nil: there never is one

	mu    sync.Mutex
	kit   *Kit // that the parts are of
	parts map[string]part
}

// part is one file of a kit.
type part struct {
	digest, mime, encoding string
	content                []byte
}

// current lists the parts of the present kit, none where there is none.
func (k *kits) current(ctx context.Context) map[string]part {
	if k.of == nil {
		return nil
	}
	kit := k.of(ctx)
	k.mu.Lock()
	defer k.mu.Unlock()
	if kit != k.kit {
		k.kit, k.parts = kit, nil
		if kit != nil {
			k.parts = map[string]part{
				programName: newPart("application/wasm", "br", kit.Program),
				glueName:    newPart("text/javascript; charset=utf-8", "", kit.Glue),
				modelName:   newPart("application/octet-stream", "br", kit.Model),
			}
		}
	}
	return k.parts
}

func newPart(mime, encoding string, content []byte) part {
	sum := sha256.Sum256(content)
	return part{hex.EncodeToString(sum[:6]), mime, encoding, content}
}

// file serves a part of the kit. A page that is open asks for the one that it was made for; where that has gone, it has
// kept it, or does without.
func (k *kits) file(w http.ResponseWriter, r *http.Request) {
	p, ok := k.current(r.Context())[r.PathValue("name")]
	if !ok || p.digest != r.PathValue("digest") {
		http.NotFound(w, r)
		return
	}
	head := w.Header()
	head.Set("Content-Type", p.mime)
	head.Set("Cache-Control", "public, max-age=31536000, immutable")
	head.Add("Vary", "Accept-Encoding")
	content := p.content
	if accepted := r.Header.Get("Accept-Encoding"); p.encoding != "" && strings.Contains(accepted, p.encoding) {
		head.Set("Content-Encoding", p.encoding)
	} else if p.encoding != "" {
		plain, err := io.ReadAll(brotli.NewReader(bytes.NewReader(content)))
		if err != nil {
			http.Error(w, "it cannot be read", http.StatusInternalServerError)
			return
		}
		content = plain
		if strings.Contains(accepted, "gzip") {
			head.Set("Content-Encoding", "gzip")
			content = gzipped(plain, gzip.BestSpeed)
		}
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}

// keeping is what a browser keeps, for the service worker: the addresses, and one name for all of it.
type keeping struct {
	Version string            `json:"version"`
	Locales []string          `json:"locales"`
	Pages   []string          `json:"pages"` // by language and by day or night
	Files   []string          `json:"files"`
	Parts   map[string]string `json:"parts"` // the address of each part of the kit
}

func (k *kits) keeping(r *http.Request) (keeping, bool) {
	parts := k.current(r.Context())
	if parts == nil {
		return keeping{}, false
	}
	out := keeping{Locales: k.site.locales, Parts: map[string]string{}, Files: []string{"/manifest.webmanifest"}}
	pages := sha256.New()
	for _, locale := range k.site.locales {
		for night, name := range []string{"0", "1"} {
			out.Pages = append(out.Pages, "/?lang="+locale+"&night="+name)
			pages.Write(k.site.dressed(r.Context(), view{locale: locale, night: night == 1}).plain)
		}
	}
	for name := range k.site.files {
		if ownersOnly(name) {
			out.Files = append(out.Files, "/static/"+k.site.version+"/"+name)
		}
	}
	slices.Sort(out.Files)
	for name, p := range parts {
		out.Parts[name] = "/offline/" + p.digest + "/" + name
	}
	out.Version = strings.Join([]string{k.site.version, parts[programName].digest, parts[glueName].digest,
		parts[modelName].digest, hex.EncodeToString(pages.Sum(nil)[:4])}, "-")
	return out, true
}

// ownersOnly reports whether an owner's page may need a file: all but what is for desks, frames and other sites.
func ownersOnly(name string) bool {
	switch name {
	case "service.js", "widget.js", "framed.js", "shorthand.js", "stats.js", "queue.js":
		return false
	}
	return !strings.HasSuffix(name, ".html") && !strings.HasPrefix(name, "desk")
}

// worker serves the service worker. What it keeps stands in it, so a browser that finds another one has something to
// fetch.
func (k *kits) worker(w http.ResponseWriter, r *http.Request) {
	keeps, ok := k.keeping(r)
	if !ok {
		http.NotFound(w, r)
		return
	}
	text, err := json.Marshal(keeps)
	if err != nil {
		panic("webui: " + err.Error()) // nothing in it can fail
	}
	w.Header().Set("Cache-Control", "no-cache")
	script := append([]byte("self.KEPT = "+string(text)+";\n"), k.site.files["service.js"].plain...)
	newAsset("service.js", script).serve(w, r)
}

// manifest lets a phone put the page on its home screen, in the language of who asks.
func (k *kits) manifest(w http.ResponseWriter, r *http.Request) {
	locale := k.site.locale(r)
	text := func(key string) string { return k.site.texts[locale][key] }
	content, err := json.Marshal(map[string]any{
		"name": text("title"), "short_name": "Lightoff", "description": text("description"), "lang": locale,
		"start_url": "/", "scope": "/", "id": "/", "display": "standalone",
		"background_color": "#14110f", "theme_color": "#14110f",
		"icons": []map[string]string{{"src": "/static/" + k.site.version + "/icon.svg", "sizes": "any",
			"type": "image/svg+xml", "purpose": "any maskable"}},
	})
	if err != nil {
		panic("webui: " + err.Error()) // nothing in it can fail
	}
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("Content-Language", locale)
	w.Header().Set("Vary", "Accept-Language, Cookie")
	newAsset("manifest.webmanifest", content).serve(w, r)
}
