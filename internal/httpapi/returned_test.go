package httpapi_test

import (
	"encoding/json"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"

	"github.com/stretchr/testify/require"
)

// lowVoltage is sheetBody with another finding: turns and flux fit together, but not its rare voltage.
func lowVoltage() string {
	return strings.Replace(sheetBody(66), `"voltage_v":230`, `"voltage_v":80`, 1)
}

// A record that came back tells its vetter which findings it was returned for, so that he can answer that they
// are corrected; nobody else reads them, and they end with the draft.
func TestReturnedFindings(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	id := s.bring(windingsAt, sheetBody(66), catalog.Submitted, "author", "vetter", "publisher")
	at := windingsAt + "/" + id
	before := s.done(200, "vetter", "GET", at, "")
	require.Nil(t, before.At(t, "returned_findings"), "nothing came back yet")
	found := before.List(t, "findings")
	require.NotEmpty(t, found)
	for range 2 { // twice for the same: told once
		s.done(200, "vetter", "POST", at+"/return", `{"reason":"look at the voltage (demo)"}`)
		s.done(200, "author", "POST", at+"/submission", "")
	}
	require.Equal(t, found, s.done(200, "vetter", "GET", at, "").At(t, "returned_findings"))
	s.done(404, "foreign", "GET", at, "")

	s.done(200, "author", "PUT", at, lowVoltage(), "If-Match: *")
	now := s.done(200, "author", "POST", at+"/submission", "")
	require.Equal(t, found, now.At(t, "returned_findings"))
	var told struct {
		Findings []bundle.Finding `json:"findings"`
		Returned []bundle.Finding `json:"returned_findings"`
	}
	require.NoError(t, json.Unmarshal([]byte(now.Text()), &told))
	var answers []bundle.Answer
	for _, f := range told.Findings {
		require.NotEqual(t, told.Returned[0].Code, f.Code, "it is gone")
		answers = append(answers, bundle.Answer{Code: f.Code, Fields: f.Fields, Kind: "accepted", Reason: "looked at (demo)"})
	}
	corrected := len(answers)
	for _, f := range told.Returned {
		answers = append(answers, bundle.Answer{Code: f.Code, Fields: f.Fields, Kind: "corrected"})
	}
	checklist, err := json.Marshal(map[string]any{"sha256": now.At(t, "sha256"), "answers": answers})
	require.NoError(t, err)
	made := strings.Replace(string(checklist), told.Returned[0].Code, "no_such_finding", 1)
	require.Equal(t, catalog.CodeNoFinding, s.done(422, "vetter", "POST", at+"/vetting", made).Problem(t).Errors[0].Code)
	s.done(200, "vetter", "POST", at+"/vetting", string(checklist))
	published := s.done(200, "publisher", "POST", at+"/publication", "")
	require.Equal(t, "corrected", published.At(t, "answers", corrected, "answer"))
	require.Nil(t, published.At(t, "returned_findings"))
	require.Nil(t, published.At(t, "returned_for"))

	// A correction is another draft: nobody sent it back yet, and the old findings are none to be answered.
	draft := s.done(200, "author", "POST", at+"/erratum", `{"reason_code":"completed","reason":"demo"}`)
	require.Nil(t, draft.At(t, "returned_for"))
	require.Nil(t, draft.At(t, "returned_findings"))
	s.done(200, "author", "POST", at+"/submission", "")
	refused := s.done(422, "vetter", "POST", at+"/vetting", string(checklist)).Problem(t).Errors
	require.Len(t, refused, 1)
	require.Equal(t, catalog.CodeNoFinding, refused[0].Code)
}
