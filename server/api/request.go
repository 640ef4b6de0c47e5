//go:build !js

package api

import (
	"crypto/sha256"
	"encoding/hex"

	"google.golang.org/protobuf/proto"

	"lightoff/server/store"
)

// notAsked are fields of a request that do not say what is asked for: whose conversation it is, the key itself, and the
// language of the answer, which may be another when the same is sent again.
var notAsked = []string{"id", "key", "client_key", "locale"}

// request names what a client asks for, as the store keeps it. The prefix keeps the keys of owners and of those who
// help apart.
func request(req interface {
	proto.Message
	GetClientKey() string
}, prefix string) store.Request {
	if req.GetClientKey() == "" {
		return store.Request{}
	}
	asked := proto.Clone(req).ProtoReflect()
	for _, name := range notAsked {
		if field := asked.Descriptor().Fields().ByTextName(name); field != nil {
			asked.Clear(field)
		}
	}
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(asked.Interface())
	if err != nil {
		panic("api: " + err.Error()) // it has come over the wire
	}
	sum := sha256.Sum256(append([]byte(asked.Descriptor().FullName()+"\n"), text...))
	return store.Request{Key: prefix + req.GetClientKey(), Digest: hex.EncodeToString(sum[:])}
}
