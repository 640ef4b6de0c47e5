package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/bayes"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/api"
	"lightoff/server/store"
	"lightoff/server/store/pgtest"
)

// teach writes numbers by which scale leaves a thick deposit as often as told, and returns the file and the kettle's
// version with them.
func teach(t *testing.T, thick float64) (file, version string) {
	t.Helper()
	text := fmt.Sprintf("learned:\n  - {of: deposit, from: scaled_up, state: \"yes\", to: {none: %g, thick: %g}}\n",
		1-thick, thick)
	file = filepath.Join(t.TempDir(), "numbers.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	m, err := kettleWith([]byte(text))
	require.NoError(t, err)
	return file, m.Version
}

// asker asks a server about kettles.
type asker struct {
	t *testing.T
	lightoffv1.ConversationServiceClient
	lightoffv1.DiagnosisServiceClient
	lightoffv1.KnowledgeServiceClient
}

func askerOn(t *testing.T, conn *grpc.ClientConn) *asker {
	return &asker{t, lightoffv1.NewConversationServiceClient(conn), lightoffv1.NewDiagnosisServiceClient(conn),
		lightoffv1.NewKnowledgeServiceClient(conn)}
}

// uses waits until the server uses a version.
func (c *asker) uses(version string) {
	c.t.Helper()
	var is string
	assert.Eventually(c.t, func() bool {
		m, err := c.GetModel(context.Background(), &lightoffv1.GetModelRequest{})
		is = m.GetVersion()
		return err == nil && is == version
	}, patience, 20*time.Millisecond)
	require.Equal(c.t, version, is)
}

var lime = []*lightoffv1.Observation{{Id: "deposit", Value: &lightoffv1.Observation_State{State: "thick"}}}

// limed opens a conversation about a kettle with a thick deposit.
func (c *asker) limed() *lightoffv1.Conversation {
	c.t.Helper()
	open, err := c.OpenConversation(c.t.Context(), &lightoffv1.OpenConversationRequest{})
	require.NoError(c.t, err)
	return c.tell(open.Conversation.Id, lime...)
}

func (c *asker) tell(id string, o ...*lightoffv1.Observation) *lightoffv1.Conversation {
	c.t.Helper()
	answer, err := c.AnswerQuestions(c.t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: id, Observations: o})
	require.NoError(c.t, err)
	return answer.Conversation
}

func (c *asker) get(id string) *lightoffv1.Conversation {
	c.t.Helper()
	answer, err := c.GetConversation(c.t.Context(), &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(c.t, err)
	return answer.Conversation
}

// scale is the probability of scale.
func scale(t *testing.T, causes []*lightoffv1.RankedCause) float64 {
	t.Helper()
	for _, c := range causes {
		if c.Id == "scaled_up" {
			return c.Probability
		}
	}
	t.Fatal("scale is missing")
	return 0
}

// by is what the model itself makes of observations, without any server.
func by(t *testing.T, file string, o ...*lightoffv1.Observation) float64 {
	t.Helper()
	m, err := kettle()
	if file != "" {
		text, readErr := os.ReadFile(file)
		require.NoError(t, readErr)
		m, err = kettleWith(text)
	}
	require.NoError(t, err)
	answer, err := api.NewDiagnosis(m).Assess(t.Context(), &lightoffv1.AssessRequest{Observations: o})
	require.NoError(t, err)
	return scale(t, answer.Causes)
}

// TestConversationsKeepTheirModel promotes and rolls back while conversations are under way, and restarts.
func TestConversationsKeepTheirModel(t *testing.T) {
	folder := t.TempDir()
	fileA, a := teach(t, 0.99)
	fileB, b := teach(t, 0.3)
	p := opened(t, newProgram(folder))
	c := askerOn(t, dial(t, p))
	m, err := kettle()
	require.NoError(t, err)
	do := func(want string, args ...string) {
		t.Helper()
		got := run(t, "", append(append([]string{"model"}, args...), "-data", folder)...)
		require.Equal(t, exitDone, got.code, got.err)
		assert.Contains(t, got.out, want)
	}
	first := c.limed()
	do("Model "+a+" is in use from now on, instead of the built-in model "+m.Version, "promote", fileA, "-by", "Ines")
	c.uses(a)
	second := c.limed()
	do("instead of model "+a, "promote", "-by", "Tomke", fileB)
	c.uses(b)
	third := c.limed()
	do("is in use already", "promote", fileB)

	lampOn := &lightoffv1.Observation{Id: "lamp", Value: &lightoffv1.Observation_State{State: "on"}}
	check := func() {
		t.Helper()
		for i, want := range []struct {
			begun         *lightoffv1.Conversation
			version, file string
		}{{first, m.Version, ""}, {second, a, fileA}, {third, b, fileB}} {
			got := c.get(want.begun.Id)
			assert.True(t, proto.Equal(want.begun, got), "%d: nothing has changed", i)
			assert.Equal(t, want.version, got.Assessment.ModelVersion, "%d", i)
			var told []*lightoffv1.Observation
			for _, s := range got.Told {
				told = append(told, s.Observation)
			}
			assert.InDelta(t, by(t, want.file, told...), scale(t, got.Assessment.Causes), 1e-12, "%d", i)
			explained, err := c.Explain(t.Context(), &lightoffv1.ExplainRequest{CauseId: "scaled_up", Observations: told,
				ModelVersion: want.version})
			require.NoError(t, err)
			assert.InDelta(t, scale(t, got.Assessment.Causes), explained.Cause.Probability, 1e-12, "%d", i)
			assessed, err := c.Assess(t.Context(), &lightoffv1.AssessRequest{Observations: told, ModelVersion: want.version})
			require.NoError(t, err)
			assert.Equal(t, want.version, assessed.ModelVersion)
		}
	}
	check()
	assert.Greater(t, scale(t, second.Assessment.Causes), scale(t, first.Assessment.Causes), "the numbers matter")
	assert.Greater(t, scale(t, first.Assessment.Causes), scale(t, third.Assessment.Causes))

	do("Rolled back from model "+b+": model "+a+" is in use", "rollback")
	c.uses(a)
	fourth := c.limed()
	assert.Equal(t, a, fourth.Assessment.ModelVersion, "new ones begin with what is in use")
	first, second, third = c.tell(first.Id, lampOn), c.tell(second.Id, lampOn), c.tell(third.Id, lampOn)
	check()
	closed(t, p)

	opened(t, p)
	c = askerOn(t, dial(t, p))
	c.uses(a)
	check()
	do("Rolled back from model "+a+": the built-in model "+m.Version+" is in use", "rollback", "-by", "Ines")
	c.uses(m.Version)
	check()
	got := run(t, "", "model", "rollback", "-data", folder)
	assert.Contains(t, got.oneLineOf(t, exitUse), "nothing is left to roll back to")
	plain, err := c.Assess(t.Context(), &lightoffv1.AssessRequest{Observations: lime})
	require.NoError(t, err)
	assert.Equal(t, m.Version, plain.ModelVersion)

	lines := strings.Split(strings.TrimSpace(run(t, "", "model", "versions", "-data", folder).out), "\n")
	require.Len(t, lines, 4)
	assert.Regexp(t, `^ +`+b+` .*"Tomke"$`, lines[1], "the newest first")
	assert.Regexp(t, `^ +`+a+` .*""$`, lines[2], "who rolled back did not say")
	assert.Regexp(t, `^\* +`+m.Version+` +built in .*"Ines"$`, lines[3])

	for name, call := range map[string]func() error{
		"assess": func() error {
			_, err := c.Assess(t.Context(), &lightoffv1.AssessRequest{ModelVersion: "0123456789ab"})
			return err
		},
		"explain": func() error {
			_, err := c.Explain(t.Context(), &lightoffv1.ExplainRequest{CauseId: "scaled_up",
				ModelVersion: "no such\x00version"})
			return err
		},
	} {
		err := call()
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", name, err)
		bad := status.Convert(err).Details()[0].(*errdetails.BadRequest)
		assert.Equal(t, "model_version", bad.FieldViolations[0].Field)
	}
}

// TestTwoServersTakeUpAPromotion has two servers on one database and promotes from a third process.
func TestTwoServersTakeUpAPromotion(t *testing.T) {
	place := pgtest.Database(t)
	file, version := teach(t, 0.99)
	m, err := kettle()
	require.NoError(t, err)
	var callers []*asker
	for range 2 {
		p := startProcess(t, free(t), free(t), "-store", place)
		conn, err := grpc.NewClient(p.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(t, err)
		defer conn.Close()
		callers = append(callers, askerOn(t, conn))
	}
	before := callers[0].limed()
	got := run(t, "", "model", "promote", file, "-store", place)
	require.Equal(t, exitDone, got.code, got.err)
	for _, c := range callers {
		c.uses(version)
	}
	after := callers[0].limed()
	for _, c := range callers {
		assert.True(t, proto.Equal(before, c.get(before.Id)))
		assert.True(t, proto.Equal(after, c.get(after.Id)))
	}
	assert.Equal(t, version, after.Assessment.ModelVersion)
	got = run(t, "", "model", "rollback", "-store", place)
	require.Equal(t, exitDone, got.code, got.err)
	for _, c := range callers {
		c.uses(m.Version)
		assert.True(t, proto.Equal(after, c.get(after.Id)), "also on the one that did not open it")
	}
}

// logged is a log that may be read while it is written.
type logged struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// promoted puts numbers in use without asking whether they load, as a program with other model files would.
func promoted(t *testing.T, folder, version, overlay string) {
	t.Helper()
	s, err := store.Open(t.Context(), folder)
	require.NoError(t, err)
	_, err = s.Promote(t.Context(), version, overlay, "", "Ines")
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// TestPromotedModelThatNoLongerLoads starts, and goes on, with the built-in one.
func TestPromotedModelThatNoLongerLoads(t *testing.T) {
	folder := t.TempDir()
	m, err := kettle()
	require.NoError(t, err)
	const gone = "learned:\n  - {of: whistle, to: {\"yes\": 1}}\n"
	promoted(t, folder, "0000deadbeef", gone)
	log := &logged{}
	p := newProgram(folder)
	p.Log = slog.New(slog.NewTextHandler(log, nil))
	opened(t, p)
	c := askerOn(t, dial(t, p))
	c.uses(m.Version)
	assert.Contains(t, log.String(), "whistle: the model has nothing of that name")
	assert.Contains(t, log.String(), "the built-in one is used instead")
	begun := c.limed()
	assert.Equal(t, m.Version, begun.Assessment.ModelVersion)

	got := run(t, "", "model", "versions", "-data", folder)
	assert.Contains(t, got.out, "0000deadbeef")
	assert.Contains(t, got.err, "does not load with this program")

	file, version := teach(t, 0.99)
	got = run(t, "", "model", "promote", file, "-data", folder)
	require.Equal(t, exitDone, got.code, got.err)
	c.uses(version)
	promoted(t, folder, "1111deadbeef", gone+"  - {of: lamp, to: {\"off\": 1}}\n")
	c.uses(m.Version)
	assert.Equal(t, m.Version, c.get(begun.Id).Assessment.ModelVersion)
	assert.Equal(t, 2, strings.Count(log.String(), "is used instead"), "said once for each")
}

// TestPromoteRefuses leaves nothing behind.
func TestPromoteRefuses(t *testing.T) {
	folder := t.TempDir()
	write := func(text string) string {
		file := filepath.Join(t.TempDir(), "learned.yaml")
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		return file
	}
	for text, want := range map[string]string{
		"learned:\n  - {of: whistle, to: {\"yes\": 1}}\n": ":2:6: whistle: the model has nothing " +
			"of that name",
		"learned:\n  - {of: deposit, from: gone, state: \"yes\", to: {none: 1}}\n": ":2:6: gone does not bring about deposit",
		"learned:\n  - {cause: gone, per_1000: 5}\n":                               ":2:6: gone is no cause",
		"learned:\n  - {of: deposit, to: {none: 0.9, thick: 0.3}}\n":               "sum to 1",
		"causes: []\n": "unknown entry",
		"":             "empty file",
		"\x00":         "learned.yaml",
	} {
		file := write(text)
		line := run(t, "", "model", "promote", file, "-data", folder).oneLineOf(t, exitInput)
		assert.Contains(t, line, want)
		assert.Contains(t, line, file)
	}
	fine, _ := teach(t, 0.9)
	for want, args := range map[string][]string{
		"no such file":    {"promote", "nowhere.yaml"},
		"wants 1":         {"promote"},
		"wants 1 ":        {"promote", fine, fine},
		"wants 0":         {"rollback", "now"},
		"-colour":         {"versions", "-colour", "red"},
		"can be printed":  {"promote", fine, "-by", "Ines\n"},
		"no learnt model": {"report", "0123456789ab"},
		"-store wants":    {"versions", "-store", "mysql://x"},
	} {
		got := run(t, "", append(append([]string{"model"}, args...), "-data", folder)...)
		assert.NotEqual(t, exitDone, got.code, args)
		assert.Contains(t, got.err, want)
	}
	s, err := store.Open(t.Context(), folder)
	require.NoError(t, err)
	defer s.Close()
	models, err := s.Models(t.Context())
	require.NoError(t, err)
	past, err := s.Promotions(t.Context())
	require.NoError(t, err)
	assert.Empty(t, models)
	assert.Empty(t, past)
}

// upgraded is a later kettle: the same but for a word, so that all its versions have other names.
func upgraded(t *testing.T) fs.FS {
	t.Helper()
	out := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(os.DirFS("testdata/kettle"), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(filepath.Join("testdata/kettle", name))
		out[name] = &fstest.MapFile{Data: bytes.ReplaceAll(text, []byte("Lime keeps the heat"),
			[]byte("Limescale keeps the heat"))}
		return err
	}))
	return out
}

// TestUpgrade changes the model files under a promoted model and a conversation.
func TestUpgrade(t *testing.T) {
	folder := t.TempDir()
	fileA, a := teach(t, 0.99)
	fileB, _ := teach(t, 0.3)
	require.Equal(t, exitDone, run(t, "", "model", "promote", fileA, "-data", folder).code)
	p := opened(t, newProgram(folder))
	begun := askerOn(t, dial(t, p)).limed()
	assert.Equal(t, a, begun.Assessment.ModelVersion)
	closed(t, p)

	files := upgraded(t)
	later := command{in: strings.NewReader(""), model: func() (*knowledge.Model,
		error) {
		return knowledge.Load(files, nil)
	},
		with: func(overlay []byte) (*knowledge.Model, error) { return knowledge.LoadWith(files, overlay, nil) }}
	p.Model, p.With = later.model, later.with
	opened(t, p)
	c := askerOn(t, dial(t, p))
	overlay, err := os.ReadFile(fileA)
	require.NoError(t, err)
	m, err := later.with(overlay)
	require.NoError(t, err)
	require.NotEqual(t, a, m.Version)
	c.uses(m.Version)
	now := c.get(begun.Id)
	assert.Equal(t, m.Version, now.Assessment.ModelVersion, "what it began with is gone, and the answer says so")
	assert.Equal(t, scale(t, begun.Assessment.Causes), scale(t, now.Assessment.Causes))
	next := c.limed()
	var out, errs bytes.Buffer
	later.out, later.err = &out, &errs
	require.Equal(t, exitDone, later.run(t.Context(), []string{"model", "versions", "-data", folder}))
	assert.Contains(t, errs.String(), "with this program model "+a+" is model "+m.Version)
	require.Equal(t, exitDone, later.run(t.Context(), []string{"model", "promote", fileB, "-data", folder}), errs.String())
	overlay, err = os.ReadFile(fileB)
	require.NoError(t, err)
	m, err = later.with(overlay)
	require.NoError(t, err)
	c.uses(m.Version)
	assert.Equal(t, m.Version, c.get(begun.Id).Assessment.ModelVersion, "nothing remembered stands in the way")
	closed(t, p)

	opened(t, p)
	c = askerOn(t, dial(t, p))
	assert.True(t, proto.Equal(next, c.get(next.Id)),
		"begun after the upgrade, it keeps its model through a promotion and a restart")
	assert.Equal(t, c.limed().Assessment.ModelVersion, c.get(begun.Id).Assessment.ModelVersion,
		"the old one goes with the current")
}

// TestLearnedFileWins over what is promoted, for one run of the program.
func TestLearnedFileWins(t *testing.T) {
	folder := t.TempDir()
	fileA, a := teach(t, 0.99)
	fileB, b := teach(t, 0.3)
	require.Equal(t, exitDone, run(t, "", "model", "promote", fileA, "-data", folder).code)
	p := newProgram(folder)
	p.Learned = fileB
	opened(t, p)
	c := askerOn(t, dial(t, p))
	c.uses(b)
	begun := c.limed()
	assert.InDelta(t, by(t, fileB, lime...), scale(t, begun.Assessment.Causes), 1e-12)
	got := run(t, "", "model", "rollback", "-data", folder)
	require.Equal(t, exitDone, got.code, got.err)
	require.Equal(t, exitDone, run(t, "", "model", "promote", fileA, "-data", folder).code)
	time.Sleep(10 * p.lookEvery)
	c.uses(b)
	closed(t, p)

	p.Learned = ""
	opened(t, p)
	c = askerOn(t, dial(t, p))
	c.uses(a)
	assert.True(t, proto.Equal(begun, c.get(begun.Id)), "what was begun meanwhile keeps its numbers")

	broken := filepath.Join(t.TempDir(), "numbers.yaml")
	require.NoError(t, os.WriteFile(broken, []byte("learned:\n  - {of: whistle, to: {\"yes\": 1}}\n"), 0o600))
	line := run(t, "", "serve", "-grpc", "127.0.0.1:0", "-web", "127.0.0.1:0", "-data", t.TempDir(), "-learned",
		broken).oneLineOf(t, exitInput)
	assert.Contains(t, line, broken+":2:6: whistle")
}

// TestFromLearningToPromotion goes the whole way, and back again through a backup.
func TestFromLearningToPromotion(t *testing.T) {
	folder, out := t.TempDir(), t.TempDir()
	require.Equal(t, exitDone, run(t, history(600), "learn", "-out", out, "-").code)
	m, err := kettle()
	require.NoError(t, err)
	numbers, err := os.ReadFile(filepath.Join(out, numbersFile))
	require.NoError(t, err)
	assert.Contains(t, string(numbers), "learnt_from: "+m.Version+"\n")
	got := run(t, "", "model", "promote", filepath.Join(out, numbersFile), "-data", folder)
	require.Equal(t, exitDone, got.code, got.err)
	assert.Empty(t, got.err, "it was learnt from this very model, and its report is there")
	version := regexp.MustCompile(`Model (\w+) is in use`).FindStringSubmatch(got.out)[1]
	report, err := os.ReadFile(filepath.Join(out, reportFile))
	require.NoError(t, err)
	assert.Contains(t, string(report), "to "+version)
	backup := filepath.Join(out, "backup")
	require.Equal(t, exitDone, run(t, "", "backup", backup, "-data", folder).code)
	restored := filepath.Join(out, "restored")
	require.Equal(t, exitDone, run(t, "", "restore", "-data", restored, backup).code)
	assert.Equal(t, string(report), run(t, "", "model", "report", version, "-data", restored).out)
	c := askerOn(t, dial(t, opened(t, newProgram(restored))))
	c.uses(version)

	elsewhere := filepath.Join(t.TempDir(), numbersFile)
	require.NoError(t, os.WriteFile(elsewhere, []byte(strings.Replace(string(numbers), m.Version, "0123456789ab", 1)),
		0o600))
	got = run(t, "", "model", "promote", elsewhere, "-data", folder)
	require.Equal(t, exitDone, got.code, got.err)
	assert.Contains(t, got.err, "learnt from model 0123456789ab; this program's is "+m.Version)
	assert.Contains(t, got.err, "No report.md")
}

func TestModelExport(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	file, version := teach(t, 0.9)
	got := run(t, "", "model", "export", file)
	require.Equal(t, exitDone, got.code, got.err)
	assert.Contains(t, got.out, "// Model "+version)
	n, err := bayes.ReadBIF(strings.NewReader(got.out))
	require.NoError(t, err)
	assert.Equal(t, m.Network().NumVariables(), n.NumVariables())
	assert.NotEqual(t, got.out, run(t, "", "model", "export").out)
	assert.Contains(t, run(t, "", "model", "export", "nowhere.yaml").oneLineOf(t, exitInput), "no such file")
}

func TestHelpSaysHowSoon(t *testing.T) {
	assert.Contains(t, usage, "within "+api.LookEvery.String())
}
