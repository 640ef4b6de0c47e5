package webui

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// deskCookie holds a desk's token. Scripts cannot read it, no other site's request carries it, and only addresses below
// /desk get it.
const deskCookie = "lightoff-desk"

// deskStays is how long a browser keeps it: a shift.
const deskStays = 12 * time.Hour

// ownOrigin reports whether a request was made by a page of this host. Unlike for the socket of an owner, whose key is
// in each request, a browser's word is needed, for the cookie comes by itself.
func ownOrigin(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	return r.Header.Get("Origin") != "" && originAllowed(r, nil) && (site == "" || site == "same-origin")
}

// deskSignIn takes a token and gives the cookie.
func (b *bridge) deskSignIn(w http.ResponseWriter, r *http.Request) {
	var given struct {
		Token string `json:"token"`
	}
	switch {
	case b.opts.SignIn == nil:
		http.NotFound(w, r)
		return
	case !ownOrigin(r) || r.Header.Get("Content-Type") != "application/json":
		http.Error(w, "not from here", http.StatusForbidden)
		return
	}
	if json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<10)).Decode(&given) != nil {
		http.Error(w, "want a token", http.StatusBadRequest)
		return
	}
	if b.asDesk(w, r, strings.TrimSpace(given.Token)) {
		b.setDeskCookie(w, r, strings.TrimSpace(given.Token), int(deskStays.Seconds()))
	}
}

func (b *bridge) setDeskCookie(w http.ResponseWriter, r *http.Request, token string, age int) {
	http.SetCookie(w, &http.Cookie{Name: deskCookie, Value: token, Path: "/desk", MaxAge: age, HttpOnly: true,
		SameSite: http.SameSiteStrictMode,
		// The browser knows whether the way to us is safe, also where something before us ends TLS.
		Secure: strings.HasPrefix(r.Header.Get("Origin"), "https://")})
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusNoContent)
}

// deskSignOut takes the cookie back.
func (b *bridge) deskSignOut(w http.ResponseWriter, r *http.Request) {
	if !ownOrigin(r) {
		http.Error(w, "not from here", http.StatusForbidden)
		return
	}
	b.setDeskCookie(w, r, "", -1)
}

// deskMe tells who is signed in.
func (b *bridge) deskMe(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-store")
	if b.asDesk(w, r, deskToken(r)) {
		w.WriteHeader(http.StatusNoContent)
	}
}

func deskToken(r *http.Request) string {
	c, err := r.Cookie(deskCookie)
	if err != nil {
		return ""
	}
	return c.Value
}

// asDesk reports whether a token is a desk's, and otherwise answers the request.
func (b *bridge) asDesk(w http.ResponseWriter, r *http.Request, token string) bool {
	if b.opts.SignIn == nil || token == "" || strings.ContainsFunc(token,
		func(r rune) bool { return r <= ' ' || r > '~' }) {
		http.Error(w, "not signed in", http.StatusUnauthorized)
		return false
	}
	ctx, cancel := context.WithTimeout(r.Context(), b.opts.CallTimeout)
	defer cancel()
	if b.opts.Annotate != nil {
		ctx = b.opts.Annotate(ctx, r)
	}
	switch status.Code(b.clients.askDesk(b.opts.SignIn(ctx, token))) {
	case codes.OK:
		return true
	case codes.Unauthenticated:
		http.Error(w, "not signed in", http.StatusUnauthorized)
	case codes.PermissionDenied:
		http.Error(w, "this token is not a desk's", http.StatusForbidden)
	case codes.ResourceExhausted:
		http.Error(w, "too many tries", http.StatusTooManyRequests)
	default:
		http.Error(w, "the service cannot be reached just now", http.StatusServiceUnavailable)
	}
	return false
}

// deskSocket opens a socket whose calls are made with the cookie's token.
func (b *bridge) deskSocket(w http.ResponseWriter, r *http.Request) {
	if !ownOrigin(r) {
		http.Error(w, "not from here", http.StatusForbidden)
		return
	}
	if token := deskToken(r); b.asDesk(w, r, token) {
		b.open(w, r, token)
	}
}

// framed serves the page for a frame of another site, which the address names and the list must hold. Only that site's
// pages may hold it, and to that site alone it tells how tall it is.
func framed(w http.ResponseWriter, r *http.Request, allowed []string, site *assets) {
	host := r.URL.Query().Get("host")
	if !slices.Contains(allowed, host) {
		http.Error(w, "pages of this site may not hold a conversation", http.StatusForbidden)
		return
	}
	head := w.Header()
	head.Set("Content-Security-Policy", strings.Replace(policy, "frame-ancestors 'none'", "frame-ancestors "+host, 1))
	head.Set("Cross-Origin-Resource-Policy", "cross-origin")
	site.page(w, r, "framed")
}

// IsOrigin reports whether a text is an origin as browsers write it: https, or http on this machine, host and port.
func IsOrigin(text string) bool {
	rest, secure := strings.CutPrefix(text, "https://")
	if !secure {
		var plain bool
		if rest, plain = strings.CutPrefix(text, "http://"); !plain {
			return false
		}
		host, _, _ := strings.Cut(rest, ":")
		if host != "localhost" && host != "127.0.0.1" {
			return false
		}
	}
	return rest != "" && !strings.ContainsFunc(rest, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9') && !strings.ContainsRune(".-:", r)
	})
}
