package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"

	"statorbook/internal/bundle"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// as sends a POST with a key and an Idempotency-Key of its own.
func as(t *testing.T, authorization, url, once, body string) (int, map[string]any) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url, strings.NewReader(body))
	require.NoError(t, err)
	req.Header.Set("Authorization", authorization)
	req.Header.Set("Idempotency-Key", once)
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	text, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.NoError(t, res.Body.Close())
	var v map[string]any
	require.NoError(t, json.Unmarshal(text, &v), "%s", text)
	return res.StatusCode, v
}

// TestPublicationIsSigned goes from the command line to a published family whose statement the key of the
// institute proves. Without the file of the key, or with that of another, publishing is refused, and
// nothing else.
func TestPublicationIsSigned(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	s := startServer(t, env)
	const slug = "demo-bench-school"
	done(t, env, "institute", "add", "-slug", slug, "-title", "Demo bench school", "-demo")
	keyOf := map[string]string{}
	for person, scopes := range map[string]string{"demo-p1": "contribute,publish", "demo-p2": "vet"} {
		done(t, env, "person", "add", "-institute", slug, "-pseudonym", person)
		keyOf[person] = headerLine.FindStringSubmatch(done(t, env, "key", "issue", "-institute", slug, "-person", person, "-scopes", scopes))[1]
	}
	author, vetter := keyOf["demo-p1"], keyOf["demo-p2"]
	status, draft := as(t, author, s.base+"/v1/stator-families", "create", `{"title": "Demo pump 24 slots", "application": "pump", "core": {"phases": 1,
		"rotor_position": "inside", "slots": 24, "gap_diameter_mm": 60.5, "back_diameter_mm": 110, "tooth_width_mm": 4.1, "slot_depth_mm": 16, "slot_opening_mm": 2.2,
		"back_iron_mm": 8.6}, "cores": [{"stack_length_mm": 28}], "source": "measured on the bench (demo)", "licence": "CC0-1.0", "demo": true}`)
	require.Equal(t, 201, status, "%v", draft)
	at := s.base + "/v1/stator-families/" + draft["id"].(string)
	status, submitted := as(t, author, at+"/submission", "submit", "")
	require.Equal(t, 200, status, "%v", submitted)
	status, vetted := as(t, vetter, at+"/vetting", "vet", fmt.Sprintf(`{"sha256": %q}`, submitted["sha256"]))
	require.Equal(t, 200, status, "%v", vetted)

	keys := openSigningKeys(config{dataDir: env["STATORBOOK_DATA_DIR"]})
	held, err := os.ReadFile(keys.file(slug))
	require.NoError(t, err)
	require.NoError(t, os.Remove(keys.file(slug)))
	status, refusal := as(t, author, at+"/publication", "publish-1", "")
	require.Equal(t, 503, status)
	require.Contains(t, refusal["detail"], "does not hold the signing key of "+slug)
	stranger, _, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("x", 32)), slug)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(keys.file(slug), []byte(stranger), 0o600))
	status, refusal = as(t, author, at+"/publication", "publish-2", "")
	require.Equal(t, 503, status)
	require.Contains(t, refusal["detail"], "not the registered one")
	code, _ := get(t, s.base+"/readyz")
	require.Equal(t, 200, code)

	require.NoError(t, os.WriteFile(keys.file(slug), held, 0o600))
	status, published := as(t, author, at+"/publication", "publish-3", "")
	require.Equal(t, 200, status, "%v", published)

	conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
	require.NoError(t, err)
	defer func() { _ = conn.Close(t.Context()) }()
	var note string
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT note FROM statement WHERE record_id = $1`, draft["id"]).Scan(&note))
	_, institute := get(t, s.base+"/v1/institutes/"+slug)
	verifier := institute["keys"].([]any)[0].(map[string]any)["verifier"].(string)
	known, err := bundle.NewKeys(verifier)
	require.NoError(t, err)
	opened, err := bundle.OpenStatement([]byte(note), known)
	require.NoError(t, err)
	require.Equal(t, []string{slug}, opened.Signers)
	require.Equal(t, []string{"demo-p1", "demo-p2", slug}, []string{opened.Author, opened.Vetter, opened.Institute})
	require.Equal(t, published["sha256"], opened.SHA256)
}
