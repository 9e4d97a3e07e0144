package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// reachCore is a stator that no demo record has.
const reachCore = `{"phases": 1, "rotor_position": "inside", "slots": 24, "gap_diameter_mm": 61.3, "back_diameter_mm": 127.4, "stack_length_mm": 33.7, "tooth_width_mm": 4.4, "slot_depth_mm": 15.2, "slot_opening_mm": 2.3}`

const reachDraft = `{"motor_type": "permanent_split_capacitor", "origin": "factory", "core_as_measured": ` + reachCore + `,
	"nameplate": {"voltage_v": 230, "frequency_hz": 50, "power_w": 370},
	"scheme": {"poles": 4, "coil_sets": [{"role": "main", "pattern": {"kind": "concentric", "throws": [6, 4], "turns": [66, %d], "groups": 4, "alternate": true},
		"wires": [{"system": "swg", "size": "23", "conductor": "copper", "strands": 1}]}]}, "source": "measured on the bench (demo)", "licence": "CC0-1.0", "demo": true}`

const reachQuestion = `{"measurements": ` + reachCore + `}`

// member is a person of an institute who asks a server with his key.
type member struct {
	t    *testing.T
	base string
	key  string // header
}

// school makes a demo institute with three persons: author, vetter and publisher.
func school(t *testing.T, env map[string]string, base string) (author, vetter, publisher member) {
	t.Helper()
	done(t, env, "institute", "add", "-slug", "demo-reach", "-title", "Demo reach school (invented)", "-demo")
	people := map[string]string{}
	for name, scopes := range map[string]string{"demo-a": "contribute", "demo-b": "vet", "demo-c": "publish"} {
		done(t, env, "person", "add", "-institute", "demo-reach", "-pseudonym", name)
		out := done(t, env, "key", "issue", "-institute", "demo-reach", "-person", name, "-scopes", scopes)
		_, header, found := strings.Cut(out, "Authorization: ")
		require.True(t, found, out)
		people[name] = strings.TrimSpace(header)
	}
	return member{t, base, people["demo-a"]}, member{t, base, people["demo-b"]}, member{t, base, people["demo-c"]}
}

// post sends a change with the key and the tag that the record has now, and wants success.
func (m member) post(path, body, tag string) map[string]any {
	m.t.Helper()
	req, err := http.NewRequestWithContext(m.t.Context(), http.MethodPost, m.base+path, bytes.NewBufferString(body))
	require.NoError(m.t, err)
	req.Header.Set("Authorization", m.key)
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Idempotency-Key", uuid.NewString())
	if tag != "" {
		req.Header.Set("If-Match", `"`+tag+`"`)
	}
	res, err := http.DefaultClient.Do(req)
	require.NoError(m.t, err)
	defer func() { _ = res.Body.Close() }()
	var v map[string]any
	require.NoError(m.t, json.NewDecoder(res.Body).Decode(&v))
	require.Less(m.t, res.StatusCode, 300, "%s: %v", path, v)
	return v
}

// accepted answers every finding of a record that a vetter must answer.
func accepted(t *testing.T, record map[string]any) string {
	t.Helper()
	answers := []any{}
	findings, _ := record["findings"].([]any)
	for _, f := range findings {
		if finding := f.(map[string]any); finding["severity"] != "note" {
			answers = append(answers, map[string]any{"code": finding["code"], "fields": finding["fields"], "answer": "accepted", "reason": "looked at again (demo)"})
		}
	}
	text, err := json.Marshal(map[string]any{"sha256": record["sha256"], "answers": answers})
	require.NoError(t, err)
	return string(text)
}

// matches tells whether a server names the record for its own core. It does not where it asks for patience
// because a record has just been withdrawn, which a question meets that was under way meanwhile.
func matches(t *testing.T, base, id string) bool {
	t.Helper()
	status, answer := post(t, base+"/v1/matches", reachQuestion)
	if status == 503 {
		require.Contains(t, answer["detail"], "was withdrawn a moment ago")
		return false
	}
	require.Equal(t, 200, status, "%v", answer)
	for _, c := range answer["candidates"].([]any) {
		if c.(map[string]any)["winding_id"] == id {
			return true
		}
	}
	return strings.Contains(fmt.Sprint(answer["proposals"]), id)
}

// TestReachOfPublicationAndWithdrawal is G19 of the reliability table over the whole workflow, on two
// servers that share a database. Published: it matches at once where it was published, and within two
// seconds on the other. Withdrawn: no answer after the commit on the server that took it, none after
// two seconds on the other, and the feed of both has it within two seconds.
func TestReachOfPublicationAndWithdrawal(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	env["STATORBOOK_DATA_DIR"] = t.TempDir()
	here, there := startServer(t, env), startServer(t, env)
	author, vetter, publisher := school(t, env, here.base)
	for round := range 3 {
		draft := author.post("/v1/windings", fmt.Sprintf(reachDraft, 50+round), "")
		id := draft["id"].(string)
		at := "/v1/windings/" + id
		submitted := author.post(at+"/submission", `{}`, draft["etag"].(string))
		vetted := vetter.post(at+"/vetting", accepted(t, submitted), submitted["etag"].(string))
		require.False(t, matches(t, here.base, id), "a draft matched")
		begun := time.Now()
		published := publisher.post(at+"/publication", `{}`, vetted["etag"].(string))
		committed := time.Now()
		if committed.Sub(begun) < refreshLimit { // else the answer did not wait for the index
			require.True(t, matches(t, here.base, id), "published here, and not matched at once: %s", here.err)
		}
		require.Eventually(t, func() bool { return matches(t, there.base, id) }, patience, 20*time.Millisecond)
		lag := time.Since(committed)
		require.Less(t, lag, roomy(2*time.Second, func() { matches(t, there.base, id) }))
		t.Logf("round %d: published, matched on the other server after %s", round, lag.Round(time.Millisecond))

		heard := hears(t, []started{here, there})
		stop := asksOn(t, here.base, id)
		publisher.post(at+"/withdrawal", `{"reason_code": "unsafe", "reason": "the turns were halved (demo)"}`, published["etag"].(string))
		committed = time.Now()
		gone := make(chan time.Time, 1)
		go func() {
			defer close(gone)
			for matches(t, there.base, id) {
				time.Sleep(20 * time.Millisecond)
			}
			gone <- time.Now()
		}()
		limit := time.Duration(0)
		for range 4 { // five questions each
			limit = max(limit, roomy(2*time.Second, func() {
				require.False(t, matches(t, here.base, id), "withdrawn here, and still matched")
			}))
		}
		last := stop()
		require.True(t, last.Before(committed), "a question that was asked after the answer to the withdrawal was shown the record")
		lag = (<-gone).Sub(committed)
		require.Less(t, lag, limit)
		t.Logf("round %d: withdrawn, out of the other server after %s", round, lag.Round(time.Millisecond))
		for range 2 {
			h := <-heard
			require.Less(t, h.at.Sub(committed), limit)
			item := h.items[len(h.items)-1].(map[string]any)
			require.Equal(t, []any{"withdrawal", id, "withdrawn", "unsafe"}, []any{item["change"], item["id"], item["state"], item["reason_code"]})
		}
		status, record := get(t, there.base+at)
		require.Equal(t, []any{200, "withdrawn"}, []any{status, record["status"]}, "a withdrawn record is still read, with its status")
	}
}

// asksOn has four callers ask a server all the time, and waits until one has seen the record. stop ends them and
// tells when the last question was begun whose answer showed it.
func asksOn(t *testing.T, base, id string) (stop func() (last time.Time)) {
	t.Helper()
	var over, seen atomic.Bool
	var group sync.WaitGroup
	lasts := make([]time.Time, 4)
	for i := range lasts {
		group.Go(func() {
			for !over.Load() {
				begun := time.Now()
				if matches(t, base, id) {
					lasts[i] = begun
					seen.Store(true)
				}
			}
		})
	}
	require.Eventually(t, seen.Load, patience, time.Millisecond, "nobody saw it while it was published")
	return func() time.Time {
		over.Store(true)
		group.Wait()
		return slices.MaxFunc(lasts, time.Time.Compare)
	}
}

// heard is what a waiting reader of the feed was told, and when.
type heard struct {
	at    time.Time
	items []any
}

// hears has one reader wait on each server for the next change.
func hears(t *testing.T, servers []started) <-chan heard {
	t.Helper()
	after := endOfFeed(t, servers[0].base)
	out := make(chan heard, len(servers))
	for _, s := range servers {
		go func() {
			_, page := get(t, fmt.Sprintf("%s/v1/changes?after=%s&wait_s=30", s.base, after))
			items, _ := page["items"].([]any)
			out <- heard{time.Now(), items}
		}()
	}
	time.Sleep(100 * time.Millisecond) // they wait
	return out
}

// endOfFeed gives the place after the newest change.
func endOfFeed(t *testing.T, base string) string {
	t.Helper()
	for after := "0"; ; {
		_, page := get(t, base+"/v1/changes?page_size=200&after="+after)
		after = page["after"].(string)
		if page["more"] != true {
			return after
		}
	}
}
