package main

import (
	"context"
	"fmt"
	mathrand "math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// watchers is how many watch when a server is started again.
const watchers = 400

// watcher is one who has seen all of a conversation.
type watcher struct {
	clients
	id   string
	seen int64
}

// watch begins to watch; whatever there is to see comes after what was seen.
func (w watcher) watch(ctx context.Context) (grpc.ServerStreamingClient[lightoffv1.WatchConversationResponse], error) {
	req := &lightoffv1.WatchConversationRequest{Id: w.id, AfterEvent: w.seen}
	stream, err := w.conversation.WatchConversation(ctx, req, grpc.WaitForReady(true))
	if err == nil {
		_, err = stream.Header()
	}
	return stream, err
}

// restart lets many watch cards that they have seen all of, waits until the server has been ended and started again,
// and tells what the watchers were sent once they were back, for t.time, and how long a new caller waited.
func (t *trial) restart(ctx context.Context) error {
	var all []watcher
	for n := range t.watchers {
		w, err := t.watcher(ctx, n)
		if err != nil {
			return err
		}
		defer w.conn.Close()
		all = append(all, w)
	}
	var before, sent atomic.Int64
	var watching, gone, back, done sync.WaitGroup
	watching.Add(t.watchers)
	gone.Add(t.watchers)
	back.Add(t.watchers)
	for _, w := range all {
		done.Go(func() {
			stream, err := w.watch(ctx)
			if err == nil {
				before.Add(1)
			}
			watching.Done()
			for err == nil {
				_, err = stream.Recv()
			}
			gone.Done()
			for stream, err = w.watch(ctx); err != nil && pause(ctx, 100*time.Millisecond); stream, err = w.watch(ctx) {
			}
			back.Done()
			if err != nil {
				return
			}
			time.AfterFunc(t.time, func() { w.conn.Close() })
			for _, err = stream.Recv(); err == nil; _, err = stream.Recv() {
				sent.Add(1)
			}
		})
	}
	watching.Wait()
	fmt.Fprintf(t.out, "%d watch; end the server now and start it again\n", before.Load())
	gone.Wait()
	first, err := t.newCaller(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.out, "a new caller's first answer took %d ms from when the server could be reached\n",
		first.Milliseconds())
	back.Wait()
	fmt.Fprintf(t.out, "all are back\n")
	done.Wait()
	fmt.Fprintf(t.out, "they were sent %d messages in %s\n", sent.Load(), t.time)
	return ctx.Err()
}

// watcher opens a card, tells something, and has then seen all of it.
func (t *trial) watcher(ctx context.Context, n int) (watcher, error) {
	c, err := t.dial(fmt.Sprintf("127.2.%d.1", n/2))
	if err != nil {
		return watcher{}, err
	}
	opened, err := c.conversation.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
	if err != nil {
		return watcher{}, err
	}
	w := watcher{clients: c, id: opened.GetConversation().GetId()}
	random := mathrand.New(mathrand.NewPCG(t.seed, 2<<32+uint64(n)))
	for {
		told, err := c.conversation.AnswerQuestions(ctx,
			&lightoffv1.AnswerQuestionsRequest{Id: w.id, Observations: t.card(random).GetObservations()})
		w.seen = told.GetConversation().GetLastEvent()
		if wait := retryOf(err); wait == 0 || !pause(ctx, wait) {
			return w, err
		}
	}
}

// newCaller opens a card as soon as the server is there and answers the first question.
func (t *trial) newCaller(ctx context.Context) (time.Duration, error) {
	c, err := t.dial("127.3.0.1")
	if err != nil {
		return 0, err
	}
	defer c.conn.Close()
	opened, err := c.conversation.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{}, grpc.WaitForReady(true))
	if err != nil {
		return 0, err
	}
	began := time.Now()
	_, err = c.conversation.AnswerQuestions(ctx, &lightoffv1.AnswerQuestionsRequest{Id: opened.GetConversation().GetId(),
		Observations: t.card(mathrand.New(mathrand.NewPCG(t.seed, 3<<32))).GetObservations()[:1]})
	return time.Since(began), err
}
