// Package api answers the gRPC services of lightoff.v1. It is the border: what comes in is checked once, here or by
// the engine, and turned into the engine's types; what goes out is turned back; every error becomes a status code by
// one table. Nothing that a person said is ever logged.
//
// Limits: a text has at most 2,000 characters, a request at most 300 observations and 256 kB.
//
// What follows from a log and a request alone has no build tag, and runs in browsers too, where Offline answers with
// it; what needs a store, a network or a clock is not compiled for them.
package api
