//go:build !js

package api

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lightoff/server/store"
)

// A conversation is named in requests by its key, by a visitor's key, or by a desk's handle. What comes after the
// border knows its key only: the border puts that into the request, and what the caller knows it by into the answer.
// The kinds are told apart by their first sign, which no key begins with.
const (
	visitorSign = "v"
	handleSign  = "d"
)

// credential is what a caller named a conversation by.
type credential string

const (
	byKey     credential = "key"
	byVisitor credential = "visitor's key"
	byHandle  credential = "handle"
)

// naming is a conversation as a request names it.
type naming struct {
	given, id string
	by        credential
}

// owner returns nil if a call names its conversation by its key and is no desk's.
func owner(ctx context.Context) error {
	if who := whoCalls(ctx); who.desk || who.named.by == byVisitor {
		return errNotOwner
	}
	return nil
}

// named finds out which conversation a request is about and puts its key into the request. Requests about none are left
// as they are.
func (a *access) named(ctx context.Context, who caller, method string, req any) (naming, error) {
	if !namesOne(method) {
		return naming{}, nil
	}
	m, field := idOf(req)
	if field == nil {
		return naming{}, nil
	}
	n := naming{given: m.Get(field).String(), by: byKey}
	n.id = n.given
	var err error
	switch {
	case strings.HasPrefix(n.given, visitorSign):
		n.by = byVisitor
		n.id, err = a.store.FindByPass(ctx, n.given[len(visitorSign):], store.Visit)
	case strings.HasPrefix(n.given, handleSign):
		n.by = byHandle
		n.id, err = who.handles.open(n.given)
	}
	if err != nil {
		return n, err
	}
	m.Set(field, protoreflect.ValueOfString(n.id))
	return n, nil
}

// namesOne reports whether a method's requests name a conversation by their field "id".
func namesOne(method string) bool {
	return strings.HasPrefix(method, "/lightoff.v1.ConversationService/") ||
		strings.HasPrefix(method, "/lightoff.v1.DeskService/")
}

// idOf is the field "id" of a message; nil if it has none.
func idOf(message any) (protoreflect.Message, protoreflect.FieldDescriptor) {
	m, ok := message.(proto.Message)
	if !ok {
		return nil, nil
	}
	field := m.ProtoReflect().Descriptor().Fields().ByName("id")
	return m.ProtoReflect(), field
}

// hides puts into an answer what the caller knows the conversation by. The answer is the call's own, but the
// conversation in it may be shared, so that is replaced and not changed.
func (who caller) hides(answer any) {
	m, ok := answer.(proto.Message)
	if !ok {
		return
	}
	part := m.ProtoReflect().Descriptor().Fields().ByName("conversation")
	if part == nil {
		part = m.ProtoReflect().Descriptor().Fields().ByName("record")
	}
	if part == nil || part.Message() == nil || !m.ProtoReflect().Has(part) {
		return
	}
	inner := m.ProtoReflect().Get(part).Message()
	id := inner.Descriptor().Fields().ByName("id")
	knows := who.knows(inner.Get(id).String())
	if knows == inner.Get(id).String() {
		return
	}
	copied := inner.New()
	inner.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		copied.Set(field, value)
		return true
	})
	copied.Set(id, protoreflect.ValueOfString(knows))
	m.ProtoReflect().Set(part, protoreflect.ValueOfMessage(copied))
}

// knows is what a caller knows a conversation by: what they named it by, and for a desk else a handle.
func (who caller) knows(id string) string {
	switch {
	case id == who.named.id && id != "":
		return who.named.given
	case who.handles != nil:
		return who.handles.handleOf(id)
	}
	return id
}

// handles makes names of conversations that are good with one token only. They hold the key, encrypted under the
// token's text, so nothing need be kept: whoever's token is not taken any more has no use for them. The same key always
// gives the same handle, which serves as the nonce as well (a synthetic initialization vector, after RFC 5297).
type handles struct {
	mac    []byte
	cipher cipher.Block
}

// newHandles returns those of a token.
func newHandles(token string) *handles {
	derive := func(what string, n int) []byte {
		key, err := hkdf.Key(sha256.New, []byte(token), nil, "lightoff handle "+what, n)
		if err != nil {
			panic("api: " + err.Error()) // no such lengths are asked for
		}
		return key
	}
	block, err := aes.NewCipher(derive("cipher", 32))
	if err != nil {
		panic("api: " + err.Error())
	}
	return &handles{mac: derive("mac", 32), cipher: block}
}

// handleOf is the handle to the conversation with a key.
func (h *handles) handleOf(id string) string {
	vector := h.vector([]byte(id))
	text := make([]byte, len(id))
	cipher.NewCTR(h.cipher, vector).XORKeyStream(text, []byte(id))
	return handleSign + base64.RawURLEncoding.EncodeToString(append(vector, text...))
}

// open is the key that a handle stands for, or store.ErrNotFound for another token's, and for none.
func (h *handles) open(handle string) (string, error) {
	if h == nil {
		return "", store.ErrNotFound
	}
	sealed, err := base64.RawURLEncoding.DecodeString(strings.TrimPrefix(handle, handleSign))
	if err != nil || len(sealed) <= aes.BlockSize {
		return "", store.ErrNotFound
	}
	vector, id := sealed[:aes.BlockSize:aes.BlockSize], make([]byte, len(sealed)-aes.BlockSize)
	cipher.NewCTR(h.cipher, vector).XORKeyStream(id, sealed[aes.BlockSize:])
	if !hmac.Equal(vector, h.vector(id)) {
		return "", store.ErrNotFound
	}
	return string(id), nil
}

func (h *handles) vector(id []byte) []byte {
	mac := hmac.New(sha256.New, h.mac)
	mac.Write(id)
	return mac.Sum(nil)[:aes.BlockSize]
}

// hiding is a stream whose requests and answers name a conversation as its caller does.
type hiding struct {
	endable
	access *access
	who    *caller
	method string
}

// RecvMsg implements grpc.ServerStream.
func (s *hiding) RecvMsg(m any) error {
	if err := s.endable.RecvMsg(m); err != nil {
		return err
	}
	n, err := s.access.named(s.ctx, *s.who, s.method, m)
	s.who.named = n
	return err
}

// SendMsg implements grpc.ServerStream.
func (s *hiding) SendMsg(m any) error {
	s.who.hides(m)
	return s.endable.SendMsg(m)
}
