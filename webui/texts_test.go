package webui

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCheckTexts(t *testing.T) {
	require.Empty(t, CheckTexts("en", "de"))
	files := fstest.MapFS{}
	put := func(name, text string) { files["static/"+name] = &fstest.MapFile{Data: []byte(text)} }
	put("text/en.json", "{\n  \"title\": \"Heater\",\n\n  \"told\": \"Told\"\n}")
	put("more/en.json", "{\n  \"night\": \"Night\"\n}")
	put("text/nl.json", `{"title": "Kachel", "extra": "Extra"}`)
	assert.Equal(t, []string{
		`webui/static/text/nl.json: no text for "told"; English has it in webui/static/text/en.json:4`,
		`webui/static/text/nl.json: a text for "extra", which English has not`,
		`webui/static/more/nl.json: the file is missing; write one with the keys of webui/static/more/en.json`,
	}, checkTexts(files, nil))

	delete(files, "static/text/nl.json")
	assert.Contains(t, checkTexts(files, []string{"en", "sv"}),
		"webui/static/text/sv.json: the file is missing; write one with the keys of webui/static/text/en.json",
		"the model's languages")
	put("more/en.json", "{")
	assert.Contains(t, checkTexts(files, nil)[0], "webui/static/more/en.json: ")
}
