//go:build ignore

// Writes notices.txt: the licences and notices of every module whose code is built into the program, and of Go's own.
package main

import (
	"bytes"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// files are names that licences and notices have, whatever they end in.
var files = regexp.MustCompile(`(?i)^(un)?(licen[cs]e|copying|notice|patents)`)

func main() {
	log.SetFlags(0)
	if err := write("notices.txt"); err != nil {
		log.Fatal(err)
	}
}

func write(name string) error {
	list, err := exec.Command("go", "list", "-deps", "-f",
		"{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}\t{{.Dir}}{{end}}{{end}}", "lightoff/server").Output()
	if err != nil {
		return fmt.Errorf("list what is built in: %w", err)
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("ask where Go is: %w", err)
	}
	modules := append(strings.Split(strings.TrimSpace(string(list)), "\n"), "Go\t"+strings.TrimSpace(string(root)))
	slices.Sort(modules)
	var out bytes.Buffer
	for _, line := range slices.Compact(modules) {
		module, dir, ok := strings.Cut(line, "\t")
		if !ok {
			continue
		}
		entries, err := os.ReadDir(dir)
		if err != nil {
			return err
		}
		found := false
		for _, e := range entries {
			if e.IsDir() || !files.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
				continue
			}
			text, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				return err
			}
			found = true
			text = bytes.TrimSpace(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")))
			fmt.Fprintf(&out, "==== %s: %s\n\n%s\n\n", module, e.Name(), text)
		}
		if !found {
			return fmt.Errorf("%s has no licence in %s", module, dir)
		}
	}
	return os.WriteFile(name, out.Bytes(), 0o644)
}
