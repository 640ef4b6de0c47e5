package webui

import (
	"encoding/json"
	"errors"
	"testing"
	"unicode/utf8"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// FuzzFrame feeds what a page may send: a frame is taken or closes the socket with a code of RFC 6455, and the request
// in it is taken or refused with a fault that can be written as JSON.
func FuzzFrame(f *testing.F) {
	for _, frame := range []string{
		`{"re":1,"do":"answer","request":{"id":"A","observations":[{"id":"lamp","state":"on"},{"id":"age","number":1e308}]}}`,
		`{"re":1,"do":"say","request":{"id":"A","text":"E-08"}}`, `{"re":0}`, `{"re":1} {}`, `[]`, "\xff",
		`{"re":9223372036854775808}`, `{"re":1,"do":"watch","request":{"afterEvent":"-1"}}`, `{"re":1,"RE":2}`,
		`{"re":1,"request":{"observations":[{"id":"age","number":"NaN"}]}}`,
	} {
		f.Add([]byte(frame))
	}
	f.Fuzz(func(t *testing.T, frame []byte) {
		req, err := parseFrame(frame)
		var last farewell
		if errors.As(err, &last) {
			if last.code < 1007 || last.code > 1008 {
				t.Errorf("closed with %d", last.code)
			}
			return
		}
		if err != nil || req.Re < 1 || !utf8.Valid(frame) {
			t.Fatalf("%v, %d", err, req.Re)
		}
		answer := new(lightoffv1.AnswerQuestionsRequest)
		if err := decode(req.Request, answer); err != nil {
			if text, err := json.Marshal(faultOf(err)); err != nil || !utf8.Valid(text) {
				t.Errorf("%v: %q", err, text)
			}
		}
	})
}
