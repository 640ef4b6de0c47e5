// Package notices holds the licences and notices of what others wrote and the program has built in, as these licences
// ask of whoever hands the program on. `go generate ./server/notices` writes them anew after a dependency has changed;
// a test fails until that is done.
package notices

import (
	_ "embed"
	"strings"
)

//go:generate go run write.go

// Text is all of them, each under a line "==== module version: file".
//
//go:embed notices.txt
var Text string

// Modules are those that Text is of, with their versions, each once.
func Modules() []string {
	var all []string
	for line := range strings.Lines(Text) {
		head, ok := strings.CutPrefix(line, "==== ")
		if !ok {
			continue
		}
		module := head[:strings.LastIndex(head, ": ")]
		if len(all) == 0 || all[len(all)-1] != module {
			all = append(all, module)
		}
	}
	return all
}
