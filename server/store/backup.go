package store

import (
	"bufio"
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"slices"
	"strings"
	"time"

	"lightoff/engine/diagnosis"
)

// A backup is text, one JSON value a line: a head, tokens, conversations each followed by its events, learnt models and
// their promotions, and a foot with the number of lines before it and their SHA-256, so that a backup that was cut off
// or changed is not restored. It is the same for both databases and moves conversations from one to the other.
type line struct {
	Lightoff     int               `json:"lightoff,omitempty"` // the head: version of this format
	Token        *tokenLine        `json:"token,omitempty"`
	Conversation *conversationLine `json:"conversation,omitempty"`
	Event        *diagnosis.Event  `json:"event,omitempty"`
	At           int64             `json:"at,omitempty"` // of the event, in UTC microseconds
	ClientKey    string            `json:"client_key,omitempty"`
	Request      string            `json:"request,omitempty"` // digest of what the client asked for with the key
	// digest of a look-on key to the conversation before; spoken codes are not worth keeping
	LookOn    string         `json:"look_on,omitempty"`
	Model     *modelLine     `json:"model,omitempty"`
	Promotion *promotionLine `json:"promotion,omitempty"`
	Foot      *footLine      `json:"foot,omitempty"`
}

type tokenLine struct {
	ID        string `json:"id"`
	Name      string `json:"name"`
	Scope     Scope  `json:"scope"`
	Hash      string `json:"hash"`
	MadeAt    int64  `json:"made_at"`
	ExpiresAt int64  `json:"expires_at"`
}

// errMalformed ends a sentence about what is damaged.
var errMalformed = errors.New("is malformed")

func (t tokenLine) sound() bool { return wellFormed(t.ID) && slices.Contains(scopes, t.Scope) }

type conversationLine struct {
	ID           string `json:"id"`
	OpenedAt     int64  `json:"opened_at"`
	ModelVersion string `json:"model_version"`
	OpenKey      string `json:"open_key,omitempty"`     // digest of the client's key for opening
	OpenRequest  string `json:"open_request,omitempty"` // digest of what it asked for
}

type modelLine struct {
	Version string `json:"version"`
	Overlay string `json:"overlay"`
	Report  string `json:"report"`
	AddedAt int64  `json:"added_at"`
}

type promotionLine struct {
	Number  int64  `json:"number"`
	Version string `json:"version"`
	By      string `json:"by"`
	At      int64  `json:"at"`
	Undoes  int64  `json:"undoes,omitempty"`
}

type footLine struct {
	Lines  int    `json:"lines"`
	SHA256 string `json:"sha256"`
}

const (
	backupVersion = 2        // version 1 knew no models
	maxLine       = 16 << 20 // bytes; a model's numbers and report have a megabyte each, of which JSON makes up to six
)

// errNotWhole means that what is to be restored is no whole backup.
var errNotWhole = errors.New("this is no whole backup")

// LostError lists what a backup does not hold because it cannot be read; all else is in it, and it is whole.
type LostError struct{ Lost []string }

// Error implements error.
func (e *LostError) Error() string {
	return fmt.Sprintf("%d things cannot be read and are not in the backup: %s", len(e.Lost), strings.Join(e.Lost, "; "))
}

// Backup writes all conversations, tokens, learnt models and promotions. It may run beside everything else:
// conversations are read in one statement, which sees one state of the log, and models after all that names them. Where
// something is damaged, the rest is saved, and the error is a *LostError.
func (s *Store) Backup(ctx context.Context, to io.Writer) error {
	w := &backupWriter{to: bufio.NewWriter(to), sum: sha256.New()}
	err := w.put(line{Lightoff: backupVersion})
	for _, part := range []struct {
		name string
		save func(context.Context, *backupWriter) error
	}{{"tokens", s.backUpTokens}, {"conversations", s.backUpConversations}, {"models", s.backUpModels}} {
		if err != nil {
			break
		}
		if err = part.save(ctx, w); damaged(err) {
			w.reportLost(part.name, err)
			err = nil
		}
	}
	if err == nil {
		err = w.put(line{Foot: &footLine{Lines: w.lines, SHA256: fmt.Sprintf("%x", w.sum.Sum(nil))}})
	}
	if err == nil {
		err = w.to.Flush()
	}
	if err != nil {
		return fmt.Errorf("back up: %w", sorted(err))
	}
	if len(w.lost) > 0 {
		return fmt.Errorf("back up: %w", &LostError{w.lost})
	}
	return nil
}

type backupWriter struct {
	to    *bufio.Writer
	sum   hash.Hash
	lines int
	lost  []string
}

func (w *backupWriter) reportLost(what string, why error) {
	w.lost = append(w.lost, fmt.Sprintf("%s: %v", what, why))
}

func (w *backupWriter) put(l line) error {
	text, err := json.Marshal(l)
	if err != nil {
		return err
	}
	text = append(text, '\n')
	w.sum.Write(text)
	w.lines++
	_, err = w.to.Write(text)
	return err
}

func (s *Store) backUpTokens(ctx context.Context, w *backupWriter) error {
	rows, err := s.reads.QueryContext(ctx, `select id, name, scope, hash, made_at, expires_at from token order by `+
		`made_at, id`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var t tokenLine
		if err := rows.Scan(&t.ID, &t.Name, &t.Scope, &t.Hash, &t.MadeAt, &t.ExpiresAt); err != nil {
			return err
		}
		if !t.sound() {
			w.reportLost("token "+t.ID, errMalformed)
			continue
		}
		if err := w.put(line{Token: &t}); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (s *Store) backUpConversations(ctx context.Context, w *backupWriter) error {
	keys, err := s.lookOnKeys(ctx)
	if damaged(err) {
		w.reportLost("look-on keys", err)
	} else if err != nil {
		return err
	}
	t := &taking{w: w, keys: keys, done: map[string]bool{}, opened: map[string]bool{}}
	err = t.take(ctx, s.reads, "")
	if !damaged(err) {
		return err
	}
	// One after the other, so that what is damaged costs only itself.
	ids, err := s.ids(ctx)
	if damaged(err) {
		ids, err = s.list(ctx, `select distinct conversation_id from event`)
	}
	if err != nil {
		return err
	}
	for _, id := range ids {
		if t.done[id] {
			continue
		}
		if err := t.take(ctx, s.reads, id); damaged(err) {
			w.reportLost("conversation "+id, err)
		} else if err != nil {
			return err
		}
	}
	return nil
}

// taking takes conversations into a backup, each only once all of it is read.
type taking struct {
	w    *backupWriter
	keys map[string][]string
	done map[string]bool

	opened map[string]bool // keys of openings

	id    string // that is being read
	lines []line
	bad   error // what is wrong with it
}

// take takes one conversation, or all.
func (t *taking) take(ctx context.Context, q querier, id string) error {
	t.id, t.lines, t.bad = "", nil, nil
	which, args := "", []any(nil)
	if id != "" {
		which, args = "where c.id = $1", []any{id}
	}
	rows, err := q.QueryContext(ctx, `
		select c.id, c.opened_at, c.model_version, c.open_key, c.open_request, e.number, e.at, e.client_key, e.request, e.body
		from conversation c join event e on e.conversation_id = c.id
		`+which+` order by c.opened_at, c.id, e.number`, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var c conversationLine
		var number, at int64
		var openKey, openRequest, key, request sql.NullString
		var body string
		err := rows.Scan(&c.ID, &c.OpenedAt, &c.ModelVersion, &openKey, &openRequest, &number, &at, &key, &request, &body)
		if err != nil {
			return err
		}
		c.OpenKey, c.OpenRequest = openKey.String, openRequest.String
		if c.ID != t.id {
			if err := t.finish(); err != nil {
				return err
			}
			t.begin(c)
		}
		var e diagnosis.Event
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			t.bad = cmp.Or(t.bad, fmt.Errorf("event %d: %w", number, err))
		} else if place := int64(len(t.lines) - len(t.keys[c.ID])); e.Number != number || number != place {
			t.bad = cmp.Or(t.bad,
				fmt.Errorf("event %d stands at place %d and says that it is event %d", number, place, e.Number))
		}
		t.lines = append(t.lines, line{Event: &e, At: at, ClientKey: key.String, Request: request.String})
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return t.finish()
}

func (t *taking) begin(c conversationLine) {
	t.id, t.bad, t.lines = c.ID, nil, []line{{Conversation: &c}}
	for _, hash := range t.keys[c.ID] {
		t.lines = append(t.lines, line{LookOn: hash})
	}
}

// finish writes the conversation that was read.
func (t *taking) finish() error {
	if t.id == "" {
		return nil
	}
	bad := cmp.Or(t.bad, t.restorable())
	t.done[t.id] = true
	if t.bad = bad; t.bad != nil {
		t.w.reportLost("conversation "+t.id, t.bad)
		return nil
	}
	for _, l := range t.lines {
		if err := t.w.put(l); err != nil {
			return err
		}
	}
	return nil
}

// restorable returns why a conversation could not be restored, which would spoil the whole backup.
func (t *taking) restorable() error {
	var events []diagnosis.Event
	keys := map[string]bool{}
	for _, l := range t.lines {
		switch {
		case l.LookOn != "" && len(l.LookOn) != len(digest("")):
			return errors.New("a look-on key is malformed")
		case l.ClientKey != "" && keys[l.ClientKey]:
			return errors.New("two events have the same client key")
		case l.Event != nil:
			events, keys[l.ClientKey] = append(events, *l.Event), true
		}
	}
	if !wellFormed(t.id) || t.done[t.id] {
		return errors.New("its id is damaged")
	}
	if key := t.lines[0].Conversation.OpenKey; key != "" {
		if t.opened[key] {
			return errors.New("the key of its opening is another's")
		}
		t.opened[key] = true
	}
	return checkLog(events)
}

func (s *Store) backUpModels(ctx context.Context, w *backupWriter) error {
	past, err := promotions(ctx, s.reads)
	if err != nil {
		return err
	}
	rows, err := s.reads.QueryContext(ctx, `select version, overlay, report, added_at from model order by added_at, `+
		`version`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var m modelLine
		if err := rows.Scan(&m.Version, &m.Overlay, &m.Report, &m.AddedAt); err != nil {
			return err
		}
		if err := w.put(line{Model: &m}); err != nil {
			return err
		}
	}
	for _, p := range past {
		if err := w.put(line{Promotion: &promotionLine{p.Number, p.Version, p.By, p.At.UnixMicro(), p.Undoes}}); err != nil {
			return err
		}
	}
	return rows.Err()
}

// lookOnKeys are the digests of look-on keys by conversation.
func (s *Store) lookOnKeys(ctx context.Context) (map[string][]string, error) {
	rows, err := s.reads.QueryContext(ctx, `select conversation_id, hash from pass where kind = $1 order by `+
		`conversation_id, hash`, string(LookOn))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	keys := map[string][]string{}
	for rows.Next() {
		var id, hash string
		if err := rows.Scan(&id, &hash); err != nil {
			return nil, err
		}
		keys[id] = append(keys[id], hash)
	}
	return keys, rows.Err()
}

// errNotEmpty means that a backup is to be restored over something.
var errNotEmpty = errors.New("the store holds conversations, tokens or models already; restore into a new one")

// Restore puts a backup into an empty store: all of it, or, if anything is wrong with it, nothing.
func (s *Store) Restore(ctx context.Context, from io.Reader) error {
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var there int
		err := tx.QueryRowContext(ctx, `select (select count(*) from conversation) + (select count(*) from token) +
			(select count(*) from model) + (select count(*) from promotion)`).Scan(&there)
		if err != nil {
			return err
		}
		if there > 0 {
			return errNotEmpty
		}
		return (&restorer{tx: tx, sum: sha256.New(), kept: map[string]bool{}}).all(ctx, from)
	})
	if err != nil {
		return fmt.Errorf("restore: %w", sorted(err))
	}
	return s.Check(ctx)
}

// restorer puts lines into tables.
type restorer struct {
	tx     *sql.Tx
	sum    hash.Hash
	lines  int
	id     string // of the conversation whose events follow
	events int64  // how many of them there were
	past   []Promotion
	kept   map[string]bool // versions
	whole  bool            // the foot was there and right
}

func (r *restorer) all(ctx context.Context, from io.Reader) error {
	in := bufio.NewScanner(from)
	in.Buffer(nil, maxLine)
	for in.Scan() {
		if err := r.one(ctx, in.Bytes()); err != nil {
			return fmt.Errorf("line %d: %w", r.lines+1, err)
		}
		r.sum.Write(append(in.Bytes(), '\n'))
		r.lines++
	}
	switch {
	case in.Err() != nil:
		return fmt.Errorf("line %d: %w", r.lines+1, in.Err())
	case !r.whole:
		return errNotWhole
	}
	return nil
}

func (r *restorer) one(ctx context.Context, text []byte) error {
	var l line
	if err := json.Unmarshal(text, &l); err != nil {
		return fmt.Errorf("%w: not JSON of that kind", errNotWhole)
	}
	switch {
	case r.whole:
		return fmt.Errorf("%w: it goes on after its end", errNotWhole)
	case (r.lines == 0) != (l.Lightoff != 0):
		return fmt.Errorf("%w: its head is not at its head", errNotWhole)
	case l.Lightoff > backupVersion:
		return fmt.Errorf("the backup's format is version %d, this program knows %d", l.Lightoff, backupVersion)
	case l.Lightoff != 0:
		return nil
	case l.Token != nil:
		return r.token(ctx, *l.Token)
	case l.Conversation != nil:
		return r.conversation(ctx, *l.Conversation)
	case l.LookOn != "":
		return r.lookOn(ctx, l.LookOn)
	case l.Event != nil:
		return r.event(ctx, l)
	case l.Model != nil:
		return r.model(ctx, *l.Model)
	case l.Promotion != nil:
		return r.promotion(ctx, *l.Promotion)
	case l.Foot != nil:
		r.whole = l.Foot.Lines == r.lines && l.Foot.SHA256 == fmt.Sprintf("%x", r.sum.Sum(nil))
		if !r.whole {
			return fmt.Errorf("%w: lines were lost or changed", errNotWhole)
		}
		if err := checkPast(r.past, r.kept); err != nil {
			return fmt.Errorf("%w: %w", errNotWhole, err)
		}
		return nil
	}
	return fmt.Errorf("%w: a line says nothing", errNotWhole)
}

func (r *restorer) token(ctx context.Context, t tokenLine) error {
	if !t.sound() {
		return fmt.Errorf("%w: a token %w", errNotWhole, errMalformed)
	}
	_, err := r.tx.ExecContext(ctx,
		`insert into token (id, name, scope, hash, made_at, expires_at) values ($1, $2, $3, $4, $5, $6)`,
		t.ID, t.Name, string(t.Scope), t.Hash, t.MadeAt, t.ExpiresAt)
	return err
}

func (r *restorer) conversation(ctx context.Context, c conversationLine) error {
	if !wellFormed(c.ID) {
		return fmt.Errorf("%w: a conversation's id is malformed", errNotWhole)
	}
	r.id, r.events = c.ID, 0
	_, err := r.tx.ExecContext(ctx, `insert into conversation (id, opened_at, model_version, open_key, open_request)
		values ($1, $2, $3, $4, $5)`, c.ID, c.OpenedAt, c.ModelVersion, optional(c.OpenKey), optional(c.OpenRequest))
	return err
}

func (r *restorer) event(ctx context.Context, l line) error {
	r.events++
	if r.id == "" || l.Event.Number != r.events {
		return fmt.Errorf("%w: event %d stands at place %d", errNotWhole, l.Event.Number, r.events)
	}
	_, err := insert(ctx, r.tx, r.id, time.UnixMicro(l.At), Request{Key: l.ClientKey, Digest: l.Request}, *l.Event)
	return err
}

func (r *restorer) lookOn(ctx context.Context, hash string) error {
	if r.id == "" || len(hash) != len(digest("")) {
		return fmt.Errorf("%w: a look-on key is malformed", errNotWhole)
	}
	_, err := r.tx.ExecContext(ctx, `insert into pass (hash, kind, conversation_id, expires_at) values ($1, $2, $3, $4)`,
		hash, string(LookOn), r.id, int64(never))
	return err
}

func (r *restorer) model(ctx context.Context, m modelLine) error {
	if err := errors.Join(isVersion(m.Version), isText("the numbers", m.Overlay),
		isText("the report", m.Report)); err != nil {
		return fmt.Errorf("%w: a model is malformed: %w", errNotWhole, err)
	}
	r.kept[m.Version] = true
	_, err := r.tx.ExecContext(ctx, `insert into model (version, overlay, report, added_at) values ($1, $2, $3, $4)`,
		m.Version, m.Overlay, m.Report, m.AddedAt)
	return err
}

func (r *restorer) promotion(ctx context.Context, l promotionLine) error {
	p := Promotion{Number: l.Number, Version: l.Version, By: l.By, At: time.UnixMicro(l.At), Undoes: l.Undoes}
	r.past = append(r.past, p)
	return insertPromotion(ctx, r.tx, p)
}
