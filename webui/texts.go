package webui

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
)

// CheckTexts lists what a language of the page lacks beside English, a line each: file: what is missing; where English
// has it. Beside the page's own languages it looks at those that are named. A page that lacks a text is not served.
func CheckTexts(locales ...string) []string { return checkTexts(static, locales) }

func checkTexts(files fs.FS, locales []string) (problems []string) {
	all := map[string]bool{}
	for _, locale := range locales {
		all[locale] = true
	}
	names, err := fs.Glob(files, "static/text/*.json")
	if err != nil {
		return []string{"webui/static/text: " + err.Error()}
	}
	for _, name := range names {
		all[strings.TrimSuffix(strings.TrimPrefix(name, "static/text/"), ".json")] = true
	}
	delete(all, "en")
	for _, folder := range []string{"text", "more"} {
		english, lines, err := readTexts(files, folder, "en")
		if err != nil {
			problems = append(problems, err.Error())
			continue
		}
		for _, locale := range slices.Sorted(maps.Keys(all)) {
			file := fmt.Sprintf("webui/static/%s/%s.json", folder, locale)
			texts, _, err := readTexts(files, folder, locale)
			if err != nil {
				problems = append(problems, err.Error())
				continue
			}
			for _, key := range slices.SortedFunc(maps.Keys(english), func(a, b string) int { return lines[a] - lines[b] }) {
				if texts[key] == "" && english[key] != "" {
					problems = append(problems, fmt.Sprintf("%s: no text for %q; English has it in webui/static/%s/en.json:%d",
						file, key, folder, lines[key]))
				}
			}
			for _, key := range slices.Sorted(maps.Keys(texts)) {
				if _, ok := english[key]; !ok {
					problems = append(problems, fmt.Sprintf("%s: a text for %q, which English has not", file, key))
				}
			}
		}
	}
	return problems
}

// readTexts reads a language's texts in a folder, and the line at which each key stands.
func readTexts(files fs.FS, folder, locale string) (texts map[string]string, lines map[string]int, err error) {
	name := folder + "/" + locale + ".json"
	content, err := fs.ReadFile(files, "static/"+name)
	if err != nil {
		return nil, nil,
			fmt.Errorf("webui/static/%s: the file is missing; write one with the keys of webui/static/%s/en.json",
				name, folder)
	}
	if err := json.Unmarshal(content, &texts); err != nil {
		return nil, nil, fmt.Errorf("webui/static/%s: %w", name, err)
	}
	lines = map[string]int{}
	for i, line := range strings.Split(string(content), "\n") {
		if key, _, ok := strings.Cut(strings.TrimPrefix(strings.TrimSpace(line), `"`), `":`); ok {
			lines[key] = i + 1
		}
	}
	return texts, lines, nil
}
