package webui

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed static
var static embed.FS

// assets are the embedded files, ready to send. They are known by one version, a digest over all of them, which is
// part of their address: a browser may keep them for ever, and a new build has new addresses.
type assets struct {
	version string
	files   map[string]asset
}

type asset struct {
	mime    string
	etag    string
	plain   []byte
	gzipped []byte
}

// loadAssets reads and compresses the embedded files. It panics if they are broken, which only a broken build can do.
func loadAssets() *assets {
	site := &assets{files: make(map[string]asset)}
	contents := make(map[string][]byte)
	digest := sha256.New()
	entries, err := fs.ReadDir(static, "static")
	if err != nil {
		panic("webui: " + err.Error())
	}
	for _, entry := range entries {
		content, err := static.ReadFile("static/" + entry.Name())
		if err != nil {
			panic("webui: " + err.Error())
		}
		contents[entry.Name()] = content
		digest.Write([]byte(entry.Name()))
		digest.Write(content)
	}
	site.version = hex.EncodeToString(digest.Sum(nil)[:6])
	for name, content := range contents {
		if name == "index.html" {
			content = bytes.ReplaceAll(content, []byte(`"/static/`), []byte(`"/static/`+site.version+`/`))
		}
		site.files[name] = newAsset(name, content)
	}
	return site
}

func newAsset(name string, content []byte) asset {
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		panic("webui: " + err.Error())
	}
	// A bytes.Buffer refuses no write.
	_, _ = w.Write(content)
	_ = w.Close()
	kind := mime.TypeByExtension(path.Ext(name))
	if path.Ext(name) == ".js" {
		kind = "text/javascript; charset=utf-8"
	}
	sum := sha256.Sum256(content)
	return asset{mime: kind, etag: hex.EncodeToString(sum[:8]), plain: content, gzipped: packed.Bytes()}
}

// page serves the one document, whatever conversation the address names; the page itself asks for that one.
func (s *assets) page(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-cache")
	s.files["index.html"].serve(w, r)
}

// file serves a style or script. One of another version is answered with the present one, not to be kept, so that a
// page still open during an update stays whole.
func (s *assets) file(w http.ResponseWriter, r *http.Request) {
	file, ok := s.files[r.PathValue("name")]
	if !ok || r.PathValue("name") == "index.html" {
		http.NotFound(w, r)
		return
	}
	keep := "no-cache"
	if r.PathValue("version") == s.version {
		keep = "public, max-age=31536000, immutable"
	}
	w.Header().Set("Cache-Control", keep)
	file.serve(w, r)
}

func (a asset) serve(w http.ResponseWriter, r *http.Request) {
	head := w.Header()
	head.Set("Content-Type", a.mime)
	head.Set("Vary", "Accept-Encoding")
	content, etag := a.plain, a.etag
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && len(a.gzipped) < len(a.plain) {
		head.Set("Content-Encoding", "gzip")
		content, etag = a.gzipped, a.etag+"-gz"
	}
	head.Set("ETag", `"`+etag+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}
