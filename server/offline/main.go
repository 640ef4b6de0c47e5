//go:build js

// Command offline is the service for a browser without a signal: a WebAssembly program in a worker, which answers what
// a server would. It is built by [lightoff/server/browser]; the page fetches the model beside it.
package main

import (
	"runtime/debug"
	"syscall/js"

	"lightoff/engine/heater"
	"lightoff/server/api"
)

// The worker finds two functions: lightoffLoad takes a compact model as a Uint8Array and returns its version, or
// throws; lightoffAsk takes a question in JSON and returns the reply in JSON, see api.Offline.
func main() {
	debug.SetGCPercent(300) // loading is most of the work, and most of what it makes stays
	var offline *api.Offline
	js.Global().Set("lightoffLoad", js.FuncOf(func(_ js.Value, args []js.Value) any {
		compact := make([]byte, args[0].Length())
		js.CopyBytesToGo(compact, args[0])
		m, err := heater.Expand(compact)
		if err != nil {
			return js.Global().Get("Error").New(err.Error())
		}
		offline = api.NewOffline(m)
		return m.Version
	}))
	js.Global().Set("lightoffAsk", js.FuncOf(func(_ js.Value, args []js.Value) any {
		return string(offline.Ask([]byte(args[0].String())))
	}))
	select {}
}
