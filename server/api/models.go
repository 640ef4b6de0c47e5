//go:build !js

package api

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"time"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/server/store"
)

// LookEvery is how often a server looks whether another model was promoted.
const LookEvery = 3 * time.Second

const (
	maxLoaded = 4    // versions that are held besides the built-in one; each takes megabytes
	maxLost   = 1000 // versions that are known not to be had; callers may make them up
)

// version is one version of the model, with the engine that assesses by it.
type version struct {
	model  *knowledge.Model
	engine *diagnosis.Engine
}

func newVersion(m *knowledge.Model) *version { return &version{model: m, engine: diagnosis.New(m)} }

// errNoVersion means that no model of the version can be had.
var errNoVersion = errors.New("no model of that version can be had")

// models gives the version of the model that is in use, and any other that is kept in the store. All of them share
// identifiers, states and words; they differ in numbers only.
type models struct {
	builtIn *version
	fixed   bool                                           // nothing that is promoted is taken up
	load    func(overlay []byte) (*knowledge.Model, error) // nil where there is nothing but the built-in model
	store   *store.Store                                   // nil likewise
	log     *slog.Logger
	loading chan struct{} // holds one token while a version is loaded: loading fills a processor, so others wait for it

	mu      sync.Mutex
	current *version
	loaded  []*version      // all but the built-in one, least lately used first
	lost    map[string]bool // versions that cannot be had: true for good, false until the store is asked again
	taken   int64           // number of the promotion that was taken up
}

func newModels(m *knowledge.Model) *models {
	v := newVersion(m)
	return &models{builtIn: v, current: v, loading: make(chan struct{}, 1), lost: map[string]bool{}}
}

// loadFrom lets versions come from a store, and takes up what is promoted there.
func (m *models) loadFrom(events *store.Store, log *slog.Logger, opts Options) {
	m.store, m.log, m.load = events, log, opts.Learned
	if opts.Instead != nil {
		m.fixed, m.current = true, newVersion(opts.Instead)
		m.loaded = []*version{m.current}
		return
	}
	asking, cancel := context.WithTimeout(context.Background(), storeAnswers)
	defer cancel()
	if err := m.look(asking); err != nil {
		log.Error("looking for a promoted model; until there is an answer the built-in one is used", "error", err)
	}
}

// now is the version in use.
func (m *models) inUse() *version {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.current
}

// InUse is the version of the model by which conversations that are opened now are assessed.
func (s *Server) InUse() *knowledge.Model { return s.conversations.models.inUse().model }

// byName is the version that a conversation was opened under or, where that cannot be had any more, the one in use.
func (m *models) byName(ctx context.Context, name string) (*version, error) {
	v, err := m.named(ctx, name)
	if errors.Is(err, errNoVersion) {
		return m.inUse(), nil
	}
	return v, err
}

// requested is the version that a request names; the one in use where it names none. One that cannot be had is an
// InputError.
func (m *models) requested(ctx context.Context, name string) (*version, error) {
	if name == "" {
		return m.inUse(), nil
	}
	v, err := m.named(ctx, name)
	if errors.Is(err, errNoVersion) {
		var bad violations
		bad.add("model_version", "model version %q is unknown or no longer kept; leave it out for the current one",
			clip(name))
		return nil, bad.err()
	}
	return v, err
}

// named loads a version if it is not at hand. Whatever waits for that holds no lock.
func (m *models) named(ctx context.Context, name string) (*version, error) {
	if v, lost := m.atHand(name); v != nil || lost {
		return v, noneIf(lost)
	}
	kept, err := m.store.Model(ctx, name)
	switch {
	case errors.Is(err, store.ErrNoModel):
		m.evict(name, false)
		return nil, errNoVersion
	case err != nil:
		return nil, err
	}
	v, err := m.loadOnce(ctx, kept, false)
	if err != nil {
		return nil, err
	}
	return v, noneIf(v == nil || v.model.Version != name)
}

func noneIf(none bool) error {
	if none {
		return errNoVersion
	}
	return nil
}

// atHand is a version if it is loaded, and reports whether it is known that it cannot be had.
func (m *models) atHand(name string) (v *version, lost bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if name == m.builtIn.model.Version {
		return m.builtIn, false
	}
	for i, v := range m.loaded {
		if v.model.Version == name {
			m.loaded = append(slices.Delete(m.loaded, i, i+1), v)
			return v, false
		}
	}
	_, lost = m.lost[name]
	return nil, lost || m.store == nil
}

func (m *models) evict(name string, forGood bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.lost) >= maxLost {
		clear(m.lost)
	}
	m.lost[name] = forGood
}

// loadOnce loads what is kept, unless somebody else just did, or found that it cannot be had and nobody wants that
// tried again. It is another version than it was kept as where the program's own files are others by now, and nil where
// it does not load.
func (m *models) loadOnce(ctx context.Context, kept store.Model, again bool) (*version, error) {
	select {
	case m.loading <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-m.loading }()
	if v, lost := m.atHand(kept.Version); v != nil || lost && !again {
		return v, nil
	}
	if m.load == nil {
		m.evict(kept.Version, true)
		return nil, nil
	}
	loaded, err := m.load([]byte(kept.Overlay))
	if err != nil {
		m.log.Error("a learnt model does not load with this program", "version", kept.Version, "error", clip(err.Error()))
		m.evict(kept.Version, true)
		return nil, nil
	}
	v, _ := m.atHand(loaded.Version)
	if v == nil {
		v = newVersion(loaded)
		m.mu.Lock()
		m.loaded = append(m.loaded, v)
		m.trim()
		m.mu.Unlock()
	}
	if loaded.Version != kept.Version {
		m.evict(kept.Version, true)
	}
	return v, nil
}

// trim lets go of what was not used for longest. The lock is held.
func (m *models) trim() {
	for i := 0; len(m.loaded) > maxLoaded && i < len(m.loaded); {
		if m.loaded[i] == m.current {
			i++
			continue
		}
		m.loaded = slices.Delete(m.loaded, i, i+1)
	}
}

// look takes up what was promoted since it last looked. Its error is the store's; then what was in use stays in use.
func (m *models) look(ctx context.Context) error {
	m.mu.Lock()
	for name, forGood := range m.lost {
		if !forGood {
			delete(m.lost, name)
		}
	}
	taken := m.taken
	m.mu.Unlock()
	if m.fixed {
		return nil
	}
	p, err := m.store.Current(ctx)
	if err != nil || p.Number == taken {
		return err
	}
	next := m.builtIn
	if p.Version != "" {
		if next, err = m.promoted(ctx, p.Version); err != nil {
			return err
		}
	}
	m.mu.Lock()
	m.current, m.taken = next, p.Number
	m.mu.Unlock()
	m.log.Info("this model is in use now", "version", next.model.Version, "built_in", next == m.builtIn)
	return nil
}

// promoted is a version that was promoted, as this program loads it; the built-in one where it does not.
func (m *models) promoted(ctx context.Context, name string) (*version, error) {
	if v, _ := m.atHand(name); v != nil {
		return v, nil
	}
	kept, err := m.store.Model(ctx, name)
	if err != nil && !errors.Is(err, store.ErrNoModel) {
		return nil, err
	}
	var v *version
	if err == nil {
		if v, err = m.loadOnce(ctx, kept, true); err != nil {
			return nil, err
		}
	}
	switch {
	case v == nil:
		m.log.Error("the promoted model cannot be used; the built-in one is used instead", "promoted", name, "built_in",
			m.builtIn.model.Version)
		return m.builtIn, nil
	case v.model.Version != name:
		// What conversations are opened under is kept, so that they find it again.
		if err := m.store.AddModel(ctx, v.model.Version, kept.Overlay, kept.Report); err != nil {
			return nil, err
		}
		m.log.Info("the promoted model is another version with this program", "promoted", name, "version", v.model.Version)
	}
	return v, nil
}

// follow looks again and again until the context ends.
func (m *models) follow(ctx context.Context, every time.Duration) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(every):
		}
		asking, cancel := context.WithTimeout(ctx, storeAnswers)
		if err := m.look(asking); err != nil && ctx.Err() == nil {
			seldom.Do(func() { m.log.Error("looking for a promoted model", "error", err) })
		}
		cancel()
	}
}
