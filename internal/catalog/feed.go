package catalog

import "time"

// ChangeKind says what a change did to a record.
type ChangeKind string

// The changes of published data.
const (
	ChangePublication  ChangeKind = "publication"
	ChangeSupersession ChangeKind = "supersession" // a newer revision took the place of one that was published
	ChangeWithdrawal   ChangeKind = "withdrawal"
	ChangeErratum      ChangeKind = "erratum"
)

// ChangeKinds lists every ChangeKind.
func ChangeKinds() []ChangeKind {
	return []ChangeKind{ChangePublication, ChangeSupersession, ChangeWithdrawal, ChangeErratum}
}

// Mark is a place in the change feed: the last change that a reader has. The zero value is the
// beginning. Check is the head of that change's content hash, by which a mark of another server, or
// of a database that was set back, is told from one of this feed.
type Mark struct {
	CatalogueRevision int64 // 1 to 2^53-1
	Item              int   // from 1, within the revision
	Check             [8]byte
}

// Change is one change of published data. Feed order is that of the marks and never that of At,
// which is when the changing transaction began.
type Change struct {
	Mark
	At         time.Time
	Kind       ChangeKind
	RecordKind string // wire|insulation_class|insulating_material|family|core|winding
	RecordID   string // UUID, or the id of a reference table
	Revision   int    // of the record
	Hash       Hash   // of the revision's content
	State      State  // published|superseded|withdrawn, of the revision
	Reason     string // as the record shows it, "" = none
	ReasonCode string // lower_snake, "" = none
}

// ChangePage is a part of the feed. More tells that it goes on at once.
type ChangePage struct {
	Items []Change
	More  bool
}
