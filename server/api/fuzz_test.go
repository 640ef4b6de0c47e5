package api

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// FuzzHelpers sends any bytes as the requests of those who help, with all credentials that they can have, straight to
// the handlers: none is an internal error, and none moves the owner's card past what it could hold.
func FuzzHelpers(f *testing.F) {
	r := start(f)
	ctx := context.Background()
	id := r.open(f)
	_, _ = r.atDesk(f, "Ines")
	key, _, err := r.store.MakePass(ctx, id, store.LookOn)
	require.NoError(f, err)
	tokens := map[store.Scope]string{}
	for _, scope := range []store.Scope{store.Desk, store.Moderator} {
		tokens[scope], _, err = r.store.MakeToken(ctx, "Ines", scope, time.Hour)
		require.NoError(f, err)
	}
	handle := newHandles(tokens[store.Desk]).handleOf(id)
	var methods []protoreflect.MethodDescriptor
	for _, service := range []protoreflect.FileDescriptor{lightoffv1.File_lightoff_v1_desk_proto,
		lightoffv1.File_lightoff_v1_lookon_proto} {
		for i := range service.Services().Len() {
			all := service.Services().Get(i).Methods()
			for j := range all.Len() {
				if !all.Get(j).IsStreamingServer() {
					methods = append(methods, all.Get(j))
				}
			}
		}
	}
	for i, m := range methods {
		empty, err := proto.Marshal(dynamicpb.NewMessage(m.Input()))
		require.NoError(f, err)
		f.Add(uint8(i), true, empty)
	}
	note, err := proto.Marshal(&lightoffv1.AddNoteRequest{Text: "=1+1\x00\u202e"})
	require.NoError(f, err)
	for i := range methods {
		f.Add(uint8(i), false, note)
	}
	f.Fuzz(func(t *testing.T, which uint8, helped bool, bytes []byte) {
		m := methods[int(which)%len(methods)]
		req, answer := dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output())
		if proto.Unmarshal(bytes, req) != nil {
			return
		}
		// With a way in half the time, for random bytes find none.
		for name, value := range map[protoreflect.Name]string{"id": handle, "key": key} {
			if field := m.Input().Fields().ByName(name); helped && field != nil {
				req.Set(field, protoreflect.ValueOfString(value))
			}
		}
		scope := store.Desk
		if m.Parent().Name() == "ModerationService" {
			scope = store.Moderator
		}
		method := "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
		err := r.conn.Invoke(WithBearerToken(ctx, tokens[scope]), method, req, answer, grpc.WaitForReady(true))
		switch status.Code(err) {
		case codes.Internal, codes.Unknown, codes.Unimplemented, codes.DataLoss:
			t.Fatalf("%s of %v: %v", method, req, err)
		}
	})
}
