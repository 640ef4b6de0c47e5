package api

import (
	"errors"
	"fmt"

	rpc "google.golang.org/genproto/googleapis/rpc/code"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

var (
	errNotTold  = errors.New("nothing to take back: that was not told")
	errNoCall   = errors.New("there is no such call")
	errStopping = errors.New("the server is going away; ask again")
	errRevoked  = errors.New("the token is no longer valid")
	errOpen     = errors.New("the conversation has not ended")
	errClosed   = errors.New("the conversation has ended")
	errDanger   = errors.New("a danger stands: nothing is suggested or confirmed until what it came from is taken back")
	errOnCard   = errors.New("the safety card is its owner's own: nothing on it can be suggested")
	errUnsafe   = errors.New("a danger stands: it cannot be settled; take back what the danger came from, or choose " +
		"another outcome")
	errUnproved   = errors.New("proved needs a start that ran, reported after the repair")
	errNotSettled = errors.New("the conversation was not settled")
	errNoWait     = errors.New("that suggestion does not wait any more")
	errCrowded    = errors.New("enough suggestions wait for the owner already")
	errNotOwner   = errors.New("only its owner may do that, by the conversation's own key")
)

// coded is an error with its code and reason.
type coded struct {
	err    error
	code   rpc.Code
	reason lightoffv1.ErrorReason
}

// ownCodes are those that come of what was asked, and not of the machine.
var ownCodes = []coded{
	{errNotTold, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_NOT_TOLD},
	{errOpen, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_NOT_ENDED},
	{errClosed, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_ENDED},
	{errDanger, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_DANGER_STANDS},
	{errOnCard, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_SAFETY_CARD},
	{errUnsafe, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_DANGER_STANDS},
	{errUnproved, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_NOT_PROVED},
	{errNotSettled, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_NOT_SETTLED},
	{errNoWait, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_SUGGESTION_GONE},
	{errCrowded, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_SUGGESTIONS},
	{errNotOwner, rpc.Code_PERMISSION_DENIED, lightoffv1.ErrorReason_ERROR_REASON_OWNER_ONLY},
	{errNoCall, rpc.Code_UNIMPLEMENTED, lightoffv1.ErrorReason_ERROR_REASON_NO_SUCH_CALL},
	{errStopping, rpc.Code_UNAVAILABLE, lightoffv1.ErrorReason_ERROR_REASON_STOPPING},
	{errRevoked, rpc.Code_UNAUTHENTICATED, lightoffv1.ErrorReason_ERROR_REASON_TOKEN_INVALID},
}

// A status travels in a header, which other implementations bound to a few kilobytes.
const (
	maxViolations  = 20
	maxDescription = 200 // characters
	maxNamed       = 3   // violations repeated in the message
)

// summary is what is wrong with a request, as far as a status holds it.
func summary(input *diagnosis.InputError) (message string, violations []diagnosis.Violation) {
	for _, v := range input.Violations[:min(len(input.Violations), maxViolations)] {
		violations = append(violations, diagnosis.Violation{Field: v.Field, Description: clip(v.Description)})
	}
	for i, v := range violations[:min(len(violations), maxNamed)] {
		if i > 0 {
			message += "; "
		}
		message += v.Field + ": " + v.Description
	}
	if more := len(input.Violations) - maxNamed; more > 0 {
		message += fmt.Sprintf("; and %d more", more)
	}
	return message, violations
}

func clip(text string) string {
	if runes := []rune(text); len(runes) > maxDescription {
		return string(runes[:maxDescription-1]) + "…"
	}
	return text
}

// violations gathers what is wrong with a request; its methods check fields of one kind.
type violations diagnosis.Violations

func (v *violations) add(field, format string, args ...any) {
	(*diagnosis.Violations)(v).Add(field, format, args...)
}

func (v violations) err() error { return diagnosis.Violations(v).Err() }
