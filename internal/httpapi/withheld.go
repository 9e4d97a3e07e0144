package httpapi

import (
	"context"

	"statorbook/internal/errs"
	"statorbook/internal/match"
)

// Withheld names records that are no longer published. An answer from an index older than Revision
// must not show them.
type Withheld struct {
	Revision int64           // of the catalogue, as it was looked at
	IDs      map[string]bool // UUIDs of windings and families
}

// matchNow asks the index in memory. An answer that shows a record which has just been withdrawn is
// never given: the question waits for the index to follow, a moment, and is answered anew. Taking
// the record out of a finished answer would leave its weight in everything else.
func (s *server) matchNow(ctx context.Context, q match.Query) (match.Answer, *Snapshot, error) {
	for again := false; ; again = true {
		snap, err := s.snapshot()
		if err != nil {
			return match.Answer{}, nil, err
		}
		a, err := snap.Index.Match(q)
		if err != nil || !s.shows(a, snap.Revision) {
			a.Findings = append(a.Findings, match.Disagreements(q.Remains, a.Proposals, snap.Wires)...)
			return a, snap, err
		}
		if again || s.Refresh == nil {
			return match.Answer{}, nil, errs.New(errs.KindUnavailable, "A record that this answer rests on was withdrawn a moment ago. Ask again.")
		}
		s.Refresh(ctx)
	}
}

// shows tells whether an answer from an index of that revision rests on a withheld record.
func (s *server) shows(a match.Answer, revision int64) bool {
	if s.Withheld == nil {
		return false
	}
	w := s.Withheld()
	if w == nil || revision >= w.Revision || len(w.IDs) == 0 {
		return false
	}
	for _, c := range a.Candidates {
		if w.IDs[c.WindingID] || w.IDs[c.FamilyID] {
			return true
		}
	}
	for _, c := range a.Cores {
		if w.IDs[c.FamilyID] {
			return true
		}
	}
	for i := range a.Proposals {
		for _, id := range a.Proposals[i].Basis.WindingIDs {
			if w.IDs[id] {
				return true
			}
		}
	}
	return false
}
