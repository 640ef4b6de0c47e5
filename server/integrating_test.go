package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/pagetest"
)

// TestIntegratingPage makes the page's call as a generic client does: by the service's description, with the page's
// JSON.
func TestIntegratingPage(t *testing.T) {
	page, err := os.ReadFile("../proto/INTEGRATING.md")
	require.NoError(t, err)
	call := regexp.MustCompile(`grpcurl -plaintext -d '([^']+)' 127\.0\.0\.1:7430 ([\w.]+)/(\w+)`).FindSubmatch(page)
	require.NotNil(t, call)
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(call[2]))
	require.NoError(t, err)
	method := found.(protoreflect.ServiceDescriptor).Methods().ByName(protoreflect.Name(call[3]))
	require.NotNil(t, method)
	req, answer := dynamicpb.NewMessage(method.Input()), dynamicpb.NewMessage(method.Output())
	require.NoError(t, protojson.Unmarshal(call[1], req))
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	require.NoError(t, dial(t, p).Invoke(t.Context(), "/"+string(call[2])+"/"+string(call[3]), req, answer))
	text, err := protojson.Marshal(answer)
	require.NoError(t, err)
	assert.True(t, strings.Contains(string(text), `"soft_line_air"`) && strings.Contains(string(text), `"nextChecks"`))
}

// TestSocketScript runs the script that needs no package with Node, and pastes it into a browser's console: both print
// what the service says over gRPC.
func TestSocketScript(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	state := func(id, state string) *lightoffv1.Observation {
		return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_State{State: state}}
	}
	answer, err := lightoffv1.NewDiagnosisServiceClient(dial(t, p)).Assess(t.Context(), &lightoffv1.AssessRequest{
		Observations: []*lightoffv1.Observation{state("fault_code", "E-08"), state("line_type", "soft"),
			state("bubbles", "many")}})
	require.NoError(t, err)
	want := ""
	for _, cause := range answer.GetCauses()[:3] {
		want += fmt.Sprintf("%s %.2f\n", cause.GetId(), cause.GetProbability())
	}
	want += "refused: REQUEST_INVALID\n"
	require.True(t, strings.HasPrefix(want, "soft_line_air "))
	const script = "../proto/socket.mjs"

	t.Run("node", func(t *testing.T) {
		const option = "--experimental-websocket"
		node, err := exec.LookPath("node")
		if err != nil {
			const missing = "node is not on the path"
			if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
				t.Fatal(missing)
			}
			t.Skip(missing)
		}
		if exec.Command(node, option, "-e", "WebSocket").Run() != nil {
			t.Skip("this node is older than version 20, and has no websocket; the browser runs the script anyway")
		}
		run := exec.CommandContext(t.Context(), node, option, script, "ws"+strings.TrimPrefix(p.URL(), "http")+"socket")
		var out, errs strings.Builder
		run.Stdout, run.Stderr = &out, &errs
		require.NoError(t, run.Run(), errs.String())
		assert.Equal(t, want, out.String())
	})
	t.Run("browser", func(t *testing.T) {
		text, err := os.ReadFile(script)
		require.NoError(t, err)
		tab := pagetest.NewTab(t, 800, 600)
		tab.Visit(p.URL())
		pagetest.Eval[string](tab, `(globalThis.said = "", console.log = (...words) => (said += words.join(" ") + "\n"), `+
			`said)`)
		pagetest.Eval[bool](tab, string(text)+"\n; true")
		tab.Wait(`said.includes("refused:")`)
		assert.Equal(t, want, pagetest.Eval[string](tab, "said"))
	})
}

// TestIntegratingScript runs the page's script against a server as an integrator would, with the packages that it asks
// for.
func TestIntegratingScript(t *testing.T) {
	packages := os.Getenv("LIGHTOFF_GRPC_JS")
	node, err := exec.LookPath("node")
	if err != nil || packages == "" {
		const missing = "node is not on the path, or LIGHTOFF_GRPC_JS names no folder with @grpc/grpc-js and " +
			"@grpc/proto-loader"
		if os.Getenv("LIGHTOFF_REQUIRE_ALL") == "1" {
			t.Fatal(missing)
		}
		t.Skip(missing)
	}
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	script, err := filepath.Abs("../proto/ask.mjs")
	require.NoError(t, err)
	run := exec.CommandContext(t.Context(), node, script, p.GRPCAddress())
	run.Dir = packages
	said, err := run.CombinedOutput()
	require.NoError(t, err, string(said))
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	require.Len(t, lines, 3, "a cause a line, and no danger")
	assert.Regexp(t, `^\d+ % Soft hose gathers air$`, lines[0])
}
