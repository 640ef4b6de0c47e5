package knowledge

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"

	"lightoff/engine/bayes"
)

// A compact model holds what the files say without the way in which they are written, and beside it what takes long
// to find out: the fitted rates and the shape of the tree. Expand makes the very model of it that Load makes of the
// files. All numbers are unsigned LEB128 save the rates, which are the eight bytes of an IEEE 754 number, the lowest
// first:
//
//	magic, version, learnt from, strings, files (path, tree), 1 and the tree of what was learnt or else 0,
//	rates by cause, rate of complaints about nothing, deviation, the shape, the second reader's weights
//
// A tree is its kind and then a string's place, or a count and the values, each value of a mapping after its key.

const compactMagic = "lightoff model 2\n"

// ErrCompact means that something is no compact model, or one of another program.
var ErrCompact = errors.New("this is no compact model that this program can read")

// Compact writes a model that was loaded from the files and from what was learnt.
func Compact(fsys fs.FS, learned []byte, m *Model) ([]byte, error) {
	w := &compactor{places: map[string]uint64{}}
	errs := &Error{}
	count := uint64(0)
	eachFile(fsys, errs, func(p string, root node) {
		if path.Base(p) == glossary+".yaml" {
			return
		}
		count++
		w.string(p)
		w.tree(root.n)
	})
	files := w.body
	w.body = nil
	if learned == nil {
		w.number(0)
	} else if root, ok := parseFile(learnedFile, learned, errs); ok {
		w.number(1)
		w.tree(root.n)
	}
	if err := errs.orNil(); err != nil {
		return nil, err
	}
	for _, x := range append(m.rate[:len(m.rate):len(m.rate)], m.anywayRate, m.deviation) {
		w.body = binary.LittleEndian.AppendUint64(w.body, math.Float64bits(x))
	}
	w.shape(m.tree.Shape())
	w.plain(string(m.Hunches))
	rest := w.body

	w.body = []byte(compactMagic)
	w.plain(m.Version)
	w.plain(m.LearntFrom)
	w.number(uint64(len(w.strings)))
	for _, s := range w.strings {
		w.plain(s)
	}
	w.number(count)
	return append(append(w.body, files...), rest...), nil
}

type compactor struct {
	body    []byte
	strings []string
	places  map[string]uint64
}

func (w *compactor) number(n uint64) { w.body = binary.AppendUvarint(w.body, n) }

// plain writes a string itself.
func (w *compactor) plain(s string) {
	w.number(uint64(len(s)))
	w.body = append(w.body, s...)
}

// string writes a string's place.
func (w *compactor) string(s string) {
	at, ok := w.places[s]
	if !ok {
		at = uint64(len(w.strings))
		w.places[s], w.strings = at, append(w.strings, s)
	}
	w.number(at)
}

func (w *compactor) tree(t *tree) {
	w.body = append(w.body, byte(t.kind))
	switch t.kind {
	case scalar:
		w.string(t.text)
	case mapping, sequence:
		w.number(uint64(len(t.values)))
		for i, v := range t.values {
			if t.kind == mapping {
				w.string(t.keys[i].text)
			}
			w.tree(v)
		}
	}
}

func (w *compactor) shape(s bayes.Shape) {
	w.number(uint64(len(s.Chains)))
	for _, chain := range s.Chains {
		w.number(uint64(len(chain)))
		for _, p := range chain {
			w.number(uint64(p))
		}
	}
	w.number(uint64(len(s.Order)))
	for _, v := range s.Order {
		w.number(uint64(v))
	}
}

// Expand reads a compact model. It does not search and fits nothing, so it takes a small part of the time that Load
// does. The error is ErrCompact or, where the binding is another one, an *Error.
func Expand(compact []byte, binding Binding) (*Model, error) {
	r := &expander{rest: compact}
	if string(r.take(uint64(len(compactMagic)))) != compactMagic {
		return nil, ErrCompact
	}
	f := newFiles(binding)
	m := f.model
	m.Version, m.LearntFrom = string(r.take(r.number())), string(r.take(r.number()))
	r.strings = make([]string, r.count())
	for i := range r.strings {
		r.strings[i] = string(r.take(r.number()))
	}
	for range r.count() {
		p := r.string()
		if root := r.tree(0); !r.broken {
			f.read(p, node{file: p, errs: f.errs, n: root})
		}
	}
	if r.number() == 1 {
		if root := r.tree(0); !r.broken {
			f.readLearned(node{file: learnedFile, errs: f.errs, n: root})
		}
	}
	numbers := make([]float64, len(m.Causes)+2)
	for i := range numbers {
		if b := r.take(8); !r.broken {
			numbers[i] = math.Float64frombits(binary.LittleEndian.Uint64(b))
		}
	}
	shape := r.shape()
	f.shape = &shape
	if n := r.number(); n > 0 {
		m.Hunches = r.take(n)
	}
	if r.broken || len(r.rest) > 0 {
		return nil, ErrCompact
	}
	if err := f.complete(); err != nil {
		return nil, err
	}
	m.rate, m.anywayRate, m.deviation = numbers[:len(m.Causes)], numbers[len(m.Causes)], numbers[len(m.Causes)+1]
	m.setAverages()
	if err := f.build(); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCompact, err)
	}
	f.shape = nil // what is learnt later may be laid out otherwise
	return m, nil
}

// expander reads what a compactor wrote. Once something is amiss it is broken and gives nothing.
type expander struct {
	rest    []byte
	strings []string
	broken  bool
}

func (r *expander) number() uint64 {
	n, size := binary.Uvarint(r.rest)
	if size <= 0 {
		r.broken, r.rest = true, nil
		return 0
	}
	r.rest = r.rest[size:]
	return n
}

// count is a number of things each of which takes a byte at least.
func (r *expander) count() int {
	n := r.number()
	if n > uint64(len(r.rest)) {
		r.broken, r.rest = true, nil
		return 0
	}
	return int(n)
}

func (r *expander) take(n uint64) []byte {
	if n > uint64(len(r.rest)) {
		r.broken, r.rest = true, nil
		return nil
	}
	out := r.rest[:n]
	r.rest = r.rest[n:]
	return out
}

func (r *expander) string() string {
	at := r.number()
	if at >= uint64(len(r.strings)) {
		r.broken = true
		return ""
	}
	return r.strings[at]
}

// deepest is how far model files are nested at most, with room to spare.
const deepest = 40

func (r *expander) tree(depth int) *tree {
	t := &tree{}
	kind := r.take(1)
	if r.broken || depth > deepest {
		r.broken = true
		return t
	}
	switch t.kind = treeKind(kind[0]); t.kind {
	case nothing, foreign:
	case scalar:
		t.text = r.string()
	case mapping, sequence:
		t.values = make([]*tree, r.count())
		if t.kind == mapping {
			t.keys = make([]*tree, len(t.values))
		}
		for i := range t.values {
			if t.kind == mapping {
				t.keys[i] = &tree{kind: scalar, text: r.string()}
			}
			t.values[i] = r.tree(depth + 1)
		}
	default:
		r.broken = true
	}
	return t
}

func (r *expander) shape() (s bayes.Shape) {
	s.Chains = make([][]bayes.VarID, r.count())
	for i := range s.Chains {
		for range r.count() {
			s.Chains[i] = append(s.Chains[i], bayes.VarID(r.number()))
		}
	}
	s.Order = make([]int32, r.count())
	for i := range s.Order {
		s.Order[i] = int32(r.number())
	}
	return s
}
