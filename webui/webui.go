package webui

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gorilla/websocket"
	"google.golang.org/grpc"
)

// Options adjust Handler. The zero value serves pages of the same host and logs nothing.
type Options struct {
	// Logger hears of refused and broken sockets. Nil keeps silent. No conversation key is ever logged.
	Logger *slog.Logger
	// Hosts are the names that the pages are reached by, without ports, in lower case; requests for others are refused.
	// Empty takes all.
	Hosts []string
	// AllowedOrigins may open the socket besides the page's own host, each written as browsers send it in the Origin
	// header, for example "https://forum.example". A request without Origin is no browser's and is let through.
	AllowedOrigins []string
	// Embed are the sites whose pages may hold a conversation in a frame, each as browsers write an origin, for example
	// "https://forum.example". Their own scripts reach neither the socket nor what is in the frame. Empty lets none.
	Embed []string
	// Annotate may add to the context of every call made for a socket, for example gRPC metadata that tells the
	// service where a visitor comes from. The request is the one that opened the socket. Nil adds nothing.
	Annotate func(context.Context, *http.Request) context.Context
	// Admit decides about a socket before it is opened: leave is called once it has ended; a wait above zero refuses it
	// with HTTP status 429 and tells when to try again. Nil lets all in.
	Admit func(*http.Request) (leave func(), wait time.Duration)
	// Kit is what pages keep to work without a signal, or nil while there is nothing. Without the function there never is.
	Kit func(context.Context) *Kit
	// SignIn adds a token to the context of every later call of a socket that has signed in. Nil lets nobody sign in.
	SignIn func(ctx context.Context, token string) context.Context
	// Done closes every socket with status 1012 when it is closed, once the call under way on it is answered, so that
	// pages dial again, elsewhere perhaps. Usually the Done channel of the context that ends the program. Nil never does.
	Done <-chan struct{}
	// CallTimeout limits one call to the service; 0 means 15 s.
	CallTimeout time.Duration
	// WriteTimeout is how long a frame may take to be written before its reader counts as too slow; 0 means 10 s.
	WriteTimeout time.Duration
	// PingInterval is the time between pings; a peer silent for twice as long is dropped. 0 means 30 s.
	PingInterval time.Duration
}

// Handler serves the pages "/", "/c/{key}", "/look/{key}", "/desk" and, in a frame, "/embed", their files below
// "/static/", the bridge at "/socket" and, for who is signed in, at "/desk/socket", and "/widget.js"; what browsers
// keep to work without a signal is told by "/service.js" and lies below "/offline/". It calls the service through conn,
// which may be a network connection or one within the process.
func Handler(conn grpc.ClientConnInterface, opts Options) http.Handler {
	if opts.Logger == nil {
		opts.Logger = slog.New(slog.DiscardHandler)
	}
	opts.CallTimeout = orElse(opts.CallTimeout, 15*time.Second)
	opts.WriteTimeout = orElse(opts.WriteTimeout, 10*time.Second)
	opts.PingInterval = orElse(opts.PingInterval, 30*time.Second)

	b := &bridge{opts: opts, clients: newClients(conn)}
	b.upgrader = websocket.Upgrader{
		HandshakeTimeout:  10 * time.Second,
		EnableCompression: true, // an assessment shrinks to a fifth, and the signal is poor where heaters fail
		CheckOrigin:       func(r *http.Request) bool { return originAllowed(r, opts.AllowedOrigins) },
	}
	site := loadAssets(newDangers(conn))

	mux := http.NewServeMux()
	page := func(place string) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) { site.page(w, r, place) }
	}
	mux.HandleFunc("GET /{$}", page(""))
	mux.HandleFunc("GET /c/{key}", page(""))
	mux.HandleFunc("GET /look/{key}", page("look"))
	mux.HandleFunc("GET /desk", page("queue"))
	mux.HandleFunc("GET /desk/c/{key}", page("desk"))
	mux.HandleFunc("GET /desk/me", b.deskMe)
	mux.HandleFunc("POST /desk/sign-in", b.deskSignIn)
	mux.HandleFunc("POST /desk/sign-out", b.deskSignOut)
	mux.HandleFunc("GET /desk/socket", b.deskSocket)
	mux.HandleFunc("GET /embed", func(w http.ResponseWriter, r *http.Request) { framed(w, r, opts.Embed, site) })
	mux.HandleFunc("GET /widget.js", site.widget)
	mux.HandleFunc("GET /static/{version}/{name...}", site.file)
	mux.HandleFunc("GET /socket", b.serve)
	kept := &kits{site: site, of: opts.Kit}
	mux.HandleFunc("GET /service.js", kept.worker)
	mux.HandleFunc("GET /manifest.webmanifest", kept.manifest)
	mux.HandleFunc("GET /offline/{digest}/{name}", kept.file)
	return guard(atHome(opts.Hosts, mux))
}

func orElse(d, otherwise time.Duration) time.Duration {
	if d <= 0 {
		return otherwise
	}
	return d
}

// policy lets the page load its own files and talk to its own host, and nothing more. No script or style may stand
// in the page itself, and no text can become markup, for the browser refuses every call that would make it so.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"

// An owner's page may be put on a home screen, and may start two scripts of ours as workers: the one policy of trusted
// types, that of offline.js, lets no others start. Only the worker that thinks may compile WebAssembly, which is its
// script's own policy.
var (
	ownersPolicy = strings.NewReplacer("trusted-types 'none'", "trusted-types lightoff", "img-src",
		"manifest-src 'self'; img-src").Replace(policy)
	enginePolicy = strings.Replace(policy, "script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'", 1)
)

// guard sets the headers that protect a visitor. The address of a conversation is its key, hence no referrer and no
// search engine.
func guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", policy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=(self)")
		head.Set("X-Robots-Tag", "noindex")
		if r.TLS != nil {
			head.Set("Strict-Transport-Security", "max-age=31536000") // RFC 6797; a year
		}
		next.ServeHTTP(w, r)
	})
}

// originAllowed reports whether the page that opens a socket is the host's own or a listed one.
func originAllowed(r *http.Request, allowed []string) bool {
	origin := r.Header.Get("Origin")
	if origin == "" || slices.Contains(allowed, origin) {
		return true
	}
	// Where TLS does not end here, it may have ended before.
	return origin == "https://"+r.Host || r.TLS == nil && origin == "http://"+r.Host
}

// atHome refuses requests for other hosts than the listed ones, for another site's name may be made to lead here, with
// that site's scripts in the visitor's browser. An empty list takes all.
func atHome(hosts []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if name, _, err := net.SplitHostPort(host); err == nil {
			host = name
		}
		host = strings.ToLower(strings.Trim(host, "[]"))
		if len(hosts) > 0 && !slices.Contains(hosts, host) {
			http.Error(w, "no such site here", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}
