// Package frame is how messages and errors of the service are written for a page: over the socket, and by what
// answers in a browser without one.
package frame

import (
	"encoding/json"
	"strings"
	"unicode"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// Fault is an error as a page sees it.
type Fault struct {
	// Code is the canonical name of the status code, for example "NOT_FOUND".
	Code string `json:"code"`
	// Reason is why, for programs: an ErrorReason without its prefix; empty for what comes from the transport.
	Reason     string      `json:"reason,omitempty"`
	Message    string      `json:"message"`
	Violations []Violation `json:"violations,omitempty"`
	// RetryAfter is how many seconds to wait before asking again; 0 where waiting would not help.
	RetryAfter float64 `json:"retryAfter,omitempty"`
}

// Violation is what is wrong with a field, named as JSON has it.
type Violation struct {
	Field       string `json:"field"`
	Description string `json:"description"`
}

// Of is a violation of a field of a message, named as the schema has it.
func Of(field, description string) Violation {
	return Violation{Field: jsonPath(field), Description: description}
}

// Decode reads a request; a field that the message does not have is an error, for nothing is half-accepted.
func Decode(raw json.RawMessage, req proto.Message) error {
	if len(raw) == 0 {
		return nil
	}
	return protojson.Unmarshal(raw, req)
}

// Encode writes a message.
func Encode(m proto.Message) (json.RawMessage, error) { return protojson.Marshal(m) }

// jsonPath is a path of field names as JSON has them: "lineLengthM" for "line_length_m".
func jsonPath(path string) string {
	var b strings.Builder
	up := false
	for _, r := range path {
		switch {
		case r == '_':
			up = true
			continue
		case up:
			r = unicode.ToUpper(r)
		}
		up = false
		b.WriteRune(r)
	}
	return b.String()
}
