package main

import (
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	pagetest.Stop()
	os.Exit(code)
}

// caller is somebody whose soft fuel hose lets air in, as the answer to each question that can be told; the rest cannot.
var caller = map[string]string{
	"co_alarm_fitted": "yes",
	"co_alarm":        "silent_tested",
	"line_type":       "soft",
	"bubbles":         "many",
	"tank_level":      "half",
	"primed":          "no",
	"just_installed":  "no",
	"ran_dry":         "no",
	"failed_starts":   "one_or_two",
}

func TestBrowserConversation(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	page := pagetest.NewPhone(t)
	opened(t, p)
	start := time.Now()
	lap := func(s string) { t.Log(time.Since(start), s) }
	page.Visit(p.URL())
	page.Click("#none")
	page.Asked("opening")
	page.Say("E-08 and it won't start, my neighbour's gave black smoke")
	page.There("[data-chip=fault_code]")
	lap("said")
	page.NotMeant("smoke")
	page.Saved()
	for i := 0; i < 14; i++ {
		id := page.AskedNow()
		lap(id + " " + page.Text("#question .ask"))
		if id == "done" {
			break
		}
		if a := caller[id]; a != "" {
			page.Answer(a)
		} else {
			page.CannotTell()
		}
		page.Wait(fmt.Sprintf(`document.querySelector("#question [data-asks]").dataset.asks !== %q`, id))
	}
	for _, c := range page.Ranking()[:5] {
		t.Log(c)
	}
	t.Log(page.Texts("#told > li"))
	t.Log(page.Texts("#others [data-ask]"))
	lap("closing")
	closed(t, p)
	lap("closed")
	_ = math.Floor
	_ = net.Listen
	_ = strings.Fields
	_ = protojson.Marshal
	_ = lightoffv1.AssessRequest{}
	_ = assert.Equal
	_ = require.Equal
}
