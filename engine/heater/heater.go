// Package heater is what the project knows about small diesel-burning air heaters: model files that a mechanic can read
// and correct, embedded in the program. Another appliance would be another such package.
package heater

import (
	"embed"
	"io/fs"
	"sync"

	"lightoff/engine/knowledge"
)

//go:embed model cases
var files embed.FS

// Files are the model's files, as knowledge.Load wants them.
func Files() fs.FS { return folder("model") }

// Cases are stories of heaters whose trouble is known, as the package cases reads them.
func Cases() fs.FS { return folder("cases") }

func folder(name string) fs.FS {
	sub, err := fs.Sub(files, name)
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}

// Model loads, checks and compiles the embedded model, once. The error, if any, is a *knowledge.Error.
func Model() (*knowledge.Model, error) {
	loaded.once.Do(func() { loaded.model, loaded.err = knowledge.Load(Files(), Binding()) })
	return loaded.model, loaded.err
}

// loaded is no sync.OnceValues, which would put the files and their parser into a program that calls Model nowhere.
var loaded struct {
	once  sync.Once
	model *knowledge.Model
	err   error
}

// Compact is a model that was loaded from the embedded files and from what was learnt, in the form that Expand reads.
func Compact(learned []byte, m *knowledge.Model) ([]byte, error) {
	return knowledge.Compact(Files(), learned, m)
}

// Expand reads a compact model of heaters.
func Expand(compact []byte) (*knowledge.Model, error) { return knowledge.Expand(compact, Binding()) }
