package main

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// asProgram in the environment makes the test binary the program itself, so that a test can kill it.
const asProgram = "STATORBOOK_TEST_AS_PROGRAM"

// killsEnv asks for another number of kills.
const killsEnv = "STATORBOOK_TEST_KILLS"

// killable is the program as a process of its own.
type killable struct {
	base string
	cmd  *exec.Cmd
	err  *buffer
}

// startProcess runs serve in a process of its own and waits until it is ready.
func startProcess(t *testing.T, env map[string]string) *killable {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	out := &buffer{}
	p := &killable{cmd: exec.Command(self, "serve"), err: &buffer{}}
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	for name, value := range env {
		p.cmd.Env = append(p.cmd.Env, name+"="+value)
	}
	p.cmd.Stdout, p.cmd.Stderr = out, p.err
	require.NoError(t, p.cmd.Start())
	t.Cleanup(p.kill)
	require.Eventually(t, func() bool {
		_, line, _ := strings.Cut(out.String(), "listening on ")
		base, _, whole := strings.Cut(line, "\n")
		if !whole {
			return false
		}
		p.base = base
		res, err := http.Get(base + "/readyz")
		return err == nil && res.Body.Close() == nil && res.StatusCode == 200
	}, patience, 5*time.Millisecond, "not ready: %s", p.err)
	return p
}

// kill sends SIGKILL, which no program can catch, and waits until the process is gone.
func (p *killable) kill() {
	_ = p.cmd.Process.Kill() // it may be gone already
	_ = p.cmd.Wait()
}

// publishing is one request for a publication, which may be sent again.
type publishing struct {
	id, once string
	answered bool // with success, before the kill
}

// send asks for the publication. It gives 0 when no whole answer came.
func (p *publishing) send(base, key string) int {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, base+"/v1/windings/"+p.id+"/publication", nil)
	if err != nil {
		return 0
	}
	req.Header.Set("Authorization", key)
	req.Header.Set("Idempotency-Key", p.once)
	req.Close = true // net/http would repeat a request on a connection that it used before
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0
	}
	_, err = io.ReadAll(res.Body)
	if res.Body.Close() != nil || err != nil {
		return 0
	}
	return res.StatusCode
}

// trace is what a publication leaves, counted.
type trace struct{ Heads, Revisions, Audited, Fed, Stated, Kept, Drafts int }

var (
	nothing = trace{Drafts: 1}
	whole   = trace{Heads: 1, Revisions: 1, Audited: 1, Fed: 1, Stated: 1, Kept: 1}
)

// traceOf counts what is there of a publication. The rows that carry a hash must carry the same one.
func traceOf(t *testing.T, conn *pgx.Conn, p *publishing) trace {
	t.Helper()
	rows, err := conn.Query(t.Context(), `
		SELECT (SELECT count(*) FROM winding WHERE id = $1::uuid),
		       (SELECT count(*) FROM winding_revision WHERE winding_id = $1::uuid),
		       (SELECT count(*) FROM audit WHERE action = 'publish' AND record_id = $1::uuid::text),
		       (SELECT count(*) FROM change c JOIN winding_revision r ON r.winding_id = $1::uuid AND r.content_hash = c.content_hash WHERE c.record_id = $1::uuid::text),
		       (SELECT count(*) FROM statement s JOIN winding_revision r ON r.winding_id = $1::uuid AND s.note LIKE '%' || encode(r.content_hash, 'hex') || '%' WHERE s.record_id = $1::uuid),
		       (SELECT count(*) FROM idempotency WHERE key = $2 AND status = 200),
		       (SELECT count(*) FROM winding_draft WHERE id = $1::uuid)`, p.id, p.once)
	require.NoError(t, err)
	found, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[trace])
	require.NoError(t, err)
	return found
}

// kills is how many are wanted: few, unless the environment says otherwise.
func kills(t *testing.T) int {
	t.Helper()
	if text := os.Getenv(killsEnv); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(t, err, killsEnv)
		return n
	}
	if testing.Short() {
		return 6
	}
	return 20
}

// killing is the state of the test that follows.
type killing struct {
	t                         *testing.T
	env                       map[string]string
	author, vetter, publisher member
	owner                     *pgx.Conn
	left, answered, unheard   int // publications that a kill left undone, that were answered, that were done without an answer
}

// prepare makes a record that waits for its publication.
func (k *killing) prepare(base string, turns int) *publishing {
	k.author.base, k.vetter.base = base, base
	draft := k.author.post("/v1/windings", fmt.Sprintf(reachDraft, turns), "")
	at := "/v1/windings/" + draft["id"].(string)
	submitted := k.author.post(at+"/submission", `{}`, draft["etag"].(string))
	k.vetter.post(at+"/vetting", accepted(k.t, submitted), submitted["etag"].(string))
	return &publishing{id: draft["id"].(string), once: uuid.NewString()}
}

// burst publishes all at once and kills the program after a while.
func (k *killing) burst(p *killable, all []*publishing, after time.Duration) {
	var group sync.WaitGroup
	for _, one := range all {
		group.Go(func() { one.answered = one.send(p.base, k.publisher.key) == 200 })
	}
	time.Sleep(after)
	p.kill()
	group.Wait()
}

// judge waits until the database is through with what the dead program had begun, and looks at each
// record: all of its publication or none, and all if that was answered.
func (k *killing) judge(all []*publishing) {
	t := k.t
	require.Eventually(t, func() bool {
		var others int
		require.NoError(t, k.owner.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()`).Scan(&others))
		return others == 0
	}, patience, 5*time.Millisecond, "connections of the dead program stay")
	for _, one := range all {
		switch found := traceOf(t, k.owner, one); {
		case one.answered:
			require.Equal(t, whole, found, "answered, so it must be there")
			k.answered++
		case found == whole:
			k.unheard++
		default:
			require.Equal(t, nothing, found, "a part of a publication")
			k.left++
		}
	}
}

// TestKilledWhilePublishing is row F11: the program is killed while it publishes, again and again.
// Whatever moment the kill meets, each publication is there as a whole or not at all; and the same request,
// sent again to the program that was started next, ends with success and one revision.
func TestKilledWhilePublishing(t *testing.T) {
	t.Parallel()
	const each = 3
	env := givenDatabase(t)
	p := startProcess(t, env)
	k := &killing{t: t, env: env}
	k.author, k.vetter, k.publisher = school(t, env, p.base)
	var err error
	k.owner, err = pgx.Connect(t.Context(), env["DATABASE_OWNER_URL"])
	require.NoError(t, err)
	defer func() { _ = k.owner.Close(context.WithoutCancel(t.Context())) }()
	// Forced row-level security hides drafts from the owner too, unless he says for whom he looks.
	_, err = k.owner.Exec(t.Context(), `SELECT set_config('statorbook.institute', id::text, false) FROM institute WHERE slug = 'demo-reach'`)
	require.NoError(t, err)

	begun := time.Now()
	require.Equal(t, 200, k.prepare(p.base, 19).send(p.base, k.publisher.key))
	took := time.Since(begun) // the kills fall into such a time, whatever the speed of the machine
	rounds, done := kills(t), 0
	for ; done < rounds || k.left+k.unheard == 0 && done < 10*rounds; done++ { // a quick machine may be through before each kill
		var all []*publishing
		for i := range each {
			all = append(all, k.prepare(p.base, 20+(done*each+i)%80))
		}
		k.burst(p, all, rand.N(took))
		k.judge(all)
		p = startProcess(t, env)
		for _, one := range all {
			require.Equal(t, 200, one.send(p.base, k.publisher.key), "the same request again: %s", p.err)
			require.Equal(t, whole, traceOf(t, k.owner, one))
		}
	}
	t.Logf("%d kills, %d publications: %d undone, %d done without an answer, %d answered", done, done*each, k.left, k.unheard, k.answered)
	require.Positive(t, k.left+k.unheard, "no kill met a publication: the test saw nothing")
}
