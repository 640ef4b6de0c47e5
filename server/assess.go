package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protojson"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/api"
)

// assess reads JSON values until there are no more and writes one line for each. It stops at the first that cannot be
// accepted, so that line n of the output always belongs to value n of the input.
func (c command) assess(ctx context.Context) int {
	m, err := c.model()
	if err != nil {
		return c.fail(exitInput, "%s", oneLine(&modelError{err}))
	}
	service := api.NewDiagnosis(m)
	in := json.NewDecoder(bufio.NewReader(c.in))
	for n := 1; ; n++ {
		var request json.RawMessage
		err := in.Decode(&request)
		switch {
		case errors.Is(err, io.EOF) && n > 1:
			return exitDone
		case errors.Is(err, io.EOF):
			return c.fail(exitInput, "no request on standard input")
		case err != nil:
			return c.fail(exitInput, "request %d: not JSON: %v", n, err)
		}
		line, err := assessOne(ctx, service, request)
		if err != nil {
			return c.refuse(n, err)
		}
		if _, err := c.out.Write(line); err != nil {
			return c.fail(exitUse, "write an assessment: %v", err)
		}
	}
}

func assessOne(ctx context.Context, service *api.Diagnosis, request []byte) ([]byte, error) {
	var req lightoffv1.AssessRequest
	if err := protojson.Unmarshal(request, &req); err != nil {
		return nil, err
	}
	answer, err := service.Assess(ctx, &req)
	if err != nil {
		return nil, err
	}
	text, err := protojson.Marshal(answer)
	if err != nil {
		return nil, err
	}
	// The library spaces its output at will; compacted, the same answer is the same bytes.
	var line bytes.Buffer
	if err := json.Compact(&line, text); err != nil {
		return nil, err
	}
	line.WriteByte('\n')
	return line.Bytes(), nil
}

// refuse prints a line for each thing wrong with the request.
func (c command) refuse(n int, err error) int {
	var input *diagnosis.InputError
	if !errors.As(err, &input) {
		return c.fail(exitInput, "request %d: %s", n, oneLine(err))
	}
	for _, v := range input.Violations {
		fmt.Fprintf(c.err, "lightoff: request %d: %s: %s\n", n, v.Field, v.Description)
	}
	return exitInput
}
