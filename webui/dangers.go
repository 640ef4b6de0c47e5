package webui

import (
	"bytes"
	"context"
	"encoding/json"
	"sync"
	"time"

	"google.golang.org/grpc"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/frame"
)

// How long the rules of danger are served before the service is asked again, how long it is left alone after it could
// not be reached, and how long a page waits for it.
const (
	dangersFor   = time.Minute
	dangersAgain = 5 * time.Second
	dangersWait  = 2 * time.Second
)

// dangers are the rules of danger and the words that warn, by language, as they stand in the page. A page without them
// asks for them once it has its socket.
type dangers struct {
	list func(context.Context, *lightoffv1.ListDangersRequest, ...grpc.CallOption) (*lightoffv1.ListDangersResponse, error)

	mu    sync.Mutex
	known map[string]listed
}

type listed struct {
	text  string // JSON that may stand in a document; empty while the service has not said
	until time.Time
}

func newDangers(conn grpc.ClientConnInterface) *dangers {
	return &dangers{list: lightoffv1.NewKnowledgeServiceClient(conn).ListDangers, known: make(map[string]listed)}
}

// in returns the rules in a language. While the service is away it returns those it last sent.
func (d *dangers) in(ctx context.Context, locale string) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.known[locale]
	if time.Now().Before(now.until) {
		return now.text
	}
	// The visitor who happens to be the one to ask may leave; those who wait behind do not.
	asking, cancel := context.WithTimeout(context.WithoutCancel(ctx), dangersWait)
	defer cancel()
	reply, err := d.list(asking, &lightoffv1.ListDangersRequest{Locale: locale})
	if err == nil {
		now.text, err = forPage(reply)
	}
	now.until = time.Now().Add(dangersFor)
	if err != nil {
		now.until = time.Now().Add(dangersAgain)
	}
	d.known[locale] = now
	return now.text
}

// forPage writes the rules for a document. A danger that has its steps needs no text besides: that says the same once
// more.
func forPage(reply *lightoffv1.ListDangersResponse) (string, error) {
	for _, rule := range reply.GetRules() {
		if len(rule.GetDanger().GetSteps()) > 0 {
			rule.Danger.Text = ""
		}
	}
	plain, err := frame.Encode(reply)
	if err != nil {
		return "", err
	}
	// protojson puts spaces where it likes, and may leave what a document would take for markup.
	var compact, safe bytes.Buffer
	if err := json.Compact(&compact, plain); err != nil {
		return "", err
	}
	json.HTMLEscape(&safe, compact.Bytes())
	return safe.String(), nil
}
