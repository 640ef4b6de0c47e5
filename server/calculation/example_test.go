//go:build !js

package calculation_test

import (
	"context"
	"fmt"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/calculation"
)

// How many strokes fill three metres of line. The bore was not measured: the usual one is taken, and named.
func Example() {
	length := 3.0
	answer, err := calculation.Service{}.CalculatePriming(context.Background(),
		&lightoffv1.CalculatePrimingRequest{LineLengthM: &length})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f ml, %d strokes\n", answer.GetLineVolumeMl(), answer.GetStrokes())
	fmt.Println(answer.GetAssumptions()[0])
	// Output:
	// 9.4 ml, 429 strokes
	// inner diameter of the line not told: taken as 2 mm (common practice, no source)
}
