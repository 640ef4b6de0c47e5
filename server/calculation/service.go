//go:build !js

// Package calculation answers CalculationService: what a cable, a battery, a fuel line or a duct comes to, worked out
// from what the caller measured. It shares nothing with conversations and keeps nothing.
//
// Every call goes the same way. The fields of the request become quantities of package physics, in its units; what was
// left out gets its usual value from package heater, and the answer names each such assumption; physics works the
// figures out and gives the steps that led to them. Whatever physics finds out of range is put down to the field of the
// request that it came from, in the unit of that field, and all of it is refused together as a [diagnosis.InputError].
//
// Cable, battery and glow plug are in supply.go, fuel, air and sensors in burning.go. What all calls share, the table
// of fields above all, is in request.go.
package calculation

import lightoffv1 "lightoff/proto/lightoff/v1"

// Service implements CalculationService. It has no state: the zero value is ready, for any number of callers at once.
type Service struct {
	lightoffv1.UnimplementedCalculationServiceServer
}
