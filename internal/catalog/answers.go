package catalog

import (
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
)

// AnswerKind says what a vetter makes of a finding.
type AnswerKind string

// The answers. Accepted needs a reason; Corrected speaks of a finding for which the record was
// returned before and which is gone now.
const (
	AnswerAccepted  AnswerKind = "accepted"
	AnswerCorrected AnswerKind = "corrected"
)

// Answer is one line of the vetter's checklist: what he says to one finding of the coherence check.
type Answer struct {
	Code   string   // of the finding
	Fields []string // of the finding; nil answers the only standing finding of that code
	Kind   AnswerKind
	Reason string
}

// The codes of a checklist that does not fit the findings.
const (
	CodeUnanswered    = "FINDING_NOT_ANSWERED"
	CodeNoFinding     = "NO_SUCH_FINDING"
	CodeAnswerTwice   = "ANSWERED_TWICE"
	CodeStillStanding = "FINDING_STILL_STANDS"
	CodeNeedsReason   = "REASON_REQUIRED"
)

// CheckAnswers holds a vetter's checklist against the findings that stand, and those for which the
// record was returned before. Every standing finding of severity warning or error needs one answer;
// pointers lead into /answers. nil, or KindImpossible with everything that is wrong.
func CheckAnswers(standing, returned []errs.Finding, answers []Answer) error {
	var wrong []errs.Field
	answered := make([]bool, len(standing))
	for i, a := range answers {
		at := "/answers/" + strconv.Itoa(i)
		if strings.TrimSpace(a.Reason) == "" && a.Kind == AnswerAccepted {
			wrong = append(wrong, errs.Field{Pointer: at + "/reason", Code: CodeNeedsReason, Detail: "say why the finding " + a.Code + " is accepted"})
		}
		n := slices.IndexFunc(standing, func(f errs.Finding) bool { return a.meets(f) })
		switch {
		case n >= 0 && a.Kind == AnswerCorrected:
			answered[n] = true
			wrong = append(wrong, errs.Field{Pointer: at, Code: CodeStillStanding, Detail: "the finding " + a.Code + " still stands: accept it with a reason, or return the record", Got: a.Code})
		case n >= 0 && answered[n]:
			wrong = append(wrong, errs.Field{Pointer: at, Code: CodeAnswerTwice, Detail: "the finding " + a.Code + " is answered above already; tell findings of one code apart by fields", Got: a.Code})
		case n >= 0:
			answered[n] = true
		case a.Kind == AnswerCorrected && slices.ContainsFunc(returned, a.meets):
		default:
			wrong = append(wrong, errs.Field{Pointer: at + "/code", Code: CodeNoFinding, Detail: "the record has no finding " + a.Code + " with these fields; read it again", Got: a.Code})
		}
	}
	for i, f := range standing {
		if !answered[i] && f.Severity != errs.SeverityNote {
			wrong = append(wrong, errs.Field{Pointer: "/answers", Code: CodeUnanswered,
				Detail: "answer the finding " + f.Code + " (" + strings.Join(f.Fields, ", ") + "): accept it with a reason, or return the record"})
		}
	}
	if len(wrong) > 0 {
		return errs.New(errs.KindImpossible, "", wrong...)
	}
	return nil
}

// meets tells whether a speaks of f.
func (a Answer) meets(f errs.Finding) bool {
	return a.Code == f.Code && (a.Fields == nil || slices.Equal(a.Fields, f.Fields))
}
