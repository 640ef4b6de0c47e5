package api

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// What a request may hold. The engine judges meaning; these bound size and form before it sees anything.
const (
	maxText         = 2000 // characters
	maxObservations = 300
	maxTools        = 100
	maxName         = 100     // bytes in an id, key or language
	maxMessage      = 1 << 18 // bytes
)

// observations converts what was told. Fields are named below path, for example "observations[2].number".
func (v *violations) observations(path string, in []*lightoffv1.Observation) []diagnosis.Observation {
	if len(in) > maxObservations {
		v.add(path, "holds %d observations, more than %d", len(in), maxObservations)
		return nil
	}
	out := make([]diagnosis.Observation, 0, len(in))
	for i, o := range in {
		out = append(out, v.observation(fmt.Sprintf("%s[%d]", path, i), o))
	}
	return out
}

func (v *violations) observation(path string, in *lightoffv1.Observation) diagnosis.Observation {
	out := diagnosis.Observation{ID: in.GetId()}
	v.name(path+".id", out.ID)
	switch value := in.GetValue().(type) {
	case *lightoffv1.Observation_State:
		out.Kind, out.State = diagnosis.StateValue, value.State
		v.name(path+".state", value.State)
	case *lightoffv1.Observation_Number:
		out.Kind, out.Number = diagnosis.NumberValue, value.Number
		if math.IsNaN(value.Number) || math.IsInf(value.Number, 0) {
			v.add(path+".number", "is not a finite number")
		}
	case *lightoffv1.Observation_Unknown:
		out.Kind = diagnosis.UnknownValue
		if !value.Unknown {
			v.add(path+".unknown", "is false; leave it out, or say true for can't tell")
		}
	default:
		v.add(path+".value", "is not set: give a state, a number or unknown")
	}
	return out
}

// name checks an identifier's form.
func (v *violations) name(field, name string) {
	switch {
	case name == "":
		v.add(field, "is empty")
	case len(name) > maxName:
		v.add(field, "is longer than %d bytes", maxName)
	}
}

func (v *violations) tools(in []string) []string {
	if len(in) > maxTools {
		v.add("tools", "names %d tools, more than %d", len(in), maxTools)
		return nil
	}
	for i, tool := range in {
		v.name(fmt.Sprintf("tools[%d]", i), tool)
	}
	return in
}

// names checks the form of a list of identifiers.
func (v *violations) names(field string, in []string) []string {
	if len(in) > maxObservations {
		v.add(field, "names %d, more than %d", len(in), maxObservations)
		return nil
	}
	for i, name := range in {
		v.name(fmt.Sprintf("%s[%d]", field, i), name)
	}
	return in
}

// locale checks the form of a language's tag.
func (v *violations) locale(in string) {
	if len(in) > maxName {
		v.add("locale", "is longer than %d bytes", maxName)
	}
}

// language is the one of those that there are texts in that a tag asks for (RFC 4647, lookup by the first subtag, in
// any case), or else English. What is remembered by language would otherwise have as many as anybody can make up.
func language(m *knowledge.Model, tag string) string {
	primary, _, _ := strings.Cut(strings.ReplaceAll(strings.ToLower(tag), "_", "-"), "-")
	if slices.Contains(m.Locales(), primary) {
		return primary
	}
	return "en"
}

// inLanguage checks a tag and returns the language that it asks for.
func (v *violations) inLanguage(m *knowledge.Model, tag string) string {
	v.locale(tag)
	return language(m, tag)
}

// plain is a text without what nobody sees: NUL and other controls save line breaks and tabs, and marks that turn or
// hide what is read (Unicode's category Cf), save the joiners that some scripts need between letters.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n', r == '\t', r == '\u200c', r == '\u200d':
			return r
		case r == '\r':
			return '\n'
		case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, strings.ReplaceAll(text, "\r\n", "\n"))
}

func (v *violations) text(in string) {
	in = plain(in)
	switch n := utf8.RuneCountInString(in); {
	case n > maxText:
		v.add("text", "has %d characters, more than %d", n, maxText)
	case strings.TrimSpace(in) == "":
		v.add("text", "is empty")
	}
}

// clientKey checks the form of a key, which goes into the store as it is. None is allowed.
func (v *violations) clientKey(in string) {
	if len(in) > maxName {
		v.add("client_key", "is longer than %d bytes", maxName)
	}
	if strings.ContainsFunc(in, func(r rune) bool { return !unicode.IsPrint(r) }) {
		v.add("client_key", "holds characters that cannot be printed")
	}
}

// minOpenKey is the fewest characters of a key for opening: 96 random bits have 16 in base64.
const minOpenKey = 16

// openKey checks the key of an opening, by which anybody gets the conversation who guesses it.
func (v *violations) openKey(in string) {
	v.clientKey(in)
	if in != "" && utf8.RuneCountInString(in) < minOpenKey {
		v.add("client_key", "has fewer than %d characters and can be guessed", minOpenKey)
	}
}

// keys checks what every change of a conversation carries.
func (v *violations) keys(req interface {
	GetId() string
	GetClientKey() string
	GetLocale() string
}) {
	v.name("id", req.GetId())
	v.clientKey(req.GetClientKey())
	v.locale(req.GetLocale())
}

// known checks that an observation or setup fact has the id.
func (v *violations) known(m *knowledge.Model, field, id string) {
	if id == "" || len(id) > maxName {
		v.name(field, id)
		return
	}
	if !knows(m, id) {
		v.add(field, "no observation is called %q", id)
	}
}

func knows(m *knowledge.Model, id string) bool {
	if _, ok := m.Observation(id); ok {
		return true
	}
	_, ok := m.SetupFact(id)
	return ok
}

var place = regexp.MustCompile(`^(\w+)\[(\d+)\]`)

// fault is what the engine finds wrong with one entry of a list.
type fault struct {
	place  int
	reason string
}

// faults lists what an engine error finds wrong with the entries of the named list. Ok is false where there is no such
// error, or where it blames something else as well.
func faults(err error, list string) (found []fault, ok bool) {
	var input *diagnosis.InputError
	if !errors.As(err, &input) {
		return nil, false
	}
	for _, v := range input.Violations {
		m := place.FindStringSubmatch(v.Field)
		if m == nil || m[1] != list {
			return nil, false
		}
		i, err := strconv.Atoi(m[2])
		if err != nil {
			return nil, false
		}
		found = append(found, fault{place: i, reason: v.Description})
	}
	return found, len(found) > 0
}
