package catalog

import "time"

// Act is who changes something, with which key, in which request.
type Act struct {
	Actor            Actor
	KeyID, RequestID string
	// Once is the Idempotency-Key: the change happens once, however often it is asked for. "" for a
	// request that may be repeated without it.
	Once string
	// Request is the hash of method, path and body; with Once.
	Request Hash
}

// Reply is the answer to a change, as it is kept for repetitions of the request.
type Reply struct {
	Status        int
	Location, Tag string // headers, "" = none
	Body          []byte
}

// Render makes the answer to a change out of the record as the change leaves it. It runs inside the transaction and must not block.
type Render func(record Record) (Reply, error)

// DraftRef names a draft and the versions of it that the caller takes, nil for whichever stands.
type DraftRef struct {
	Kind     Kind
	ID       string // UUID; a slug names a published record, which is no draft
	Versions []int
}

// Reason is why a published record is withdrawn or corrected: a code for the signed statement, and
// words for people.
type Reason struct{ Code, Text string }

// RevisionOf is one revision of a published record with what vouches for it.
type RevisionOf struct {
	Record    Record // as of that revision
	Statement string // the signed note, "" if there is none
	Change    string // publication|supersession|withdrawal|erratum
}

// ProblemReport is what somebody found wrong with a published record.
type ProblemReport struct {
	ID, Institute, Text string // institute of the reporter
	CreatedAt           time.Time
	AnsweredAt          *time.Time
	Answer              string
}
