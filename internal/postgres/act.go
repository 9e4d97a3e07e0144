package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

const (
	actTimeout   = 5 * time.Second // of one statement
	actLockWait  = 2 * time.Second // for another publication; an import of many lines takes longer, then the caller tries again
	actAttempts  = 3               // of a transaction that lost a race
	onceRetained = "24 hours"      // how long an answer is kept for the same Idempotency-Key
)

// CodeOtherRequest marks an Idempotency-Key that was used for another request.
const CodeOtherRequest = "KEY_OF_ANOTHER_REQUEST"

// acting is one transaction of a catalog.Act. institute and person are "" for an anonymous actor.
type acting struct {
	pgx.Tx
	catalog.Act
	institute, person string // UUIDs
	demo              bool   // the institute is a demonstration: so are its records
}

// act runs f in one transaction with what surrounds every change: the actor's institute for the
// second wall, the answer of an earlier run of the same request, a retry after a lost race. f leaves
// its own audit row.
func (s *Store) act(ctx context.Context, a catalog.Act, f func(context.Context, *acting) (catalog.Reply, error)) (catalog.Reply, error) {
	for attempt := 1; ; attempt++ {
		reply, err := s.actOnce(ctx, a, f)
		lost := hasState(err, serialization) || hasState(err, deadlock)
		if !lost || attempt == actAttempts {
			return reply, wrap(err, "a change could not be stored")
		}
		// The clock's last digits spread those that lost together.
		pause := time.Duration(attempt)*10*time.Millisecond + time.Duration(time.Now().Nanosecond()%10_000)*time.Microsecond
		select {
		case <-ctx.Done():
			return catalog.Reply{}, wrap(ctx.Err(), "")
		case <-time.After(pause):
		}
	}
}

func (s *Store) actOnce(ctx context.Context, a catalog.Act, f func(context.Context, *acting) (catalog.Reply, error)) (catalog.Reply, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*actTimeout)
	defer cancel()
	conn, err := s.acquire(ctx)
	if err != nil {
		return catalog.Reply{}, err
	}
	defer conn.Release()
	var reply catalog.Reply
	committing := false
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if err := limitTransaction(ctx, tx, actTimeout, actLockWait); err != nil {
			return err
		}
		t := &acting{Tx: tx, Act: a}
		if err := t.identify(ctx); err != nil {
			return err
		}
		earlier, err := t.earlier(ctx)
		if err != nil || earlier != nil {
			if earlier != nil {
				reply = *earlier
			}
			return err
		}
		if reply, err = f(ctx, t); err != nil {
			return err
		}
		err = t.keep(ctx, reply)
		committing = err == nil
		return err
	})
	if err != nil && committing {
		err = unknownOutcome(err, a.Once != "")
	}
	return reply, err
}

// identify finds the actor's institute and person and tells the second wall of them.
func (t *acting) identify(ctx context.Context) error {
	if t.Actor.Anonymous() {
		return nil
	}
	err := t.QueryRow(ctx, `
		SELECT i.id::text, i.demo, p.id::text FROM institute i JOIN person p ON p.institute_id = i.id
		WHERE i.slug = $1 AND p.pseudonym = $2 AND i.own`, t.Actor.Institute, t.Actor.Person).Scan(&t.institute, &t.demo, &t.person)
	if errors.Is(err, pgx.ErrNoRows) {
		return errs.New(errs.KindUnauthenticated, "The key is of nobody here.")
	}
	if err != nil {
		return err
	}
	_, err = t.Exec(ctx, `SELECT set_config('statorbook.institute', $1, true)`, t.institute)
	return err
}

// earlier gives the answer of an earlier run of the same request, nil if this is the first.
func (t *acting) earlier(ctx context.Context) (*catalog.Reply, error) {
	if t.Once == "" || t.institute == "" {
		return nil, nil
	}
	var free bool
	err := t.QueryRow(ctx, `SELECT pg_try_advisory_xact_lock(hashtextextended($1 || ' ' || $2, 6))`, t.institute, t.Once).Scan(&free)
	if err != nil {
		return nil, err
	}
	if !free {
		return nil, errs.New(errs.KindInProgress, "A request with this Idempotency-Key is still running. Ask again in a moment.")
	}
	var r catalog.Reply
	var same, old bool
	err = t.QueryRow(ctx, `
		SELECT status, coalesce(location, ''), coalesce(tag, ''), body, request_hash = $3, created_at < now() - $4::interval
		FROM idempotency WHERE institute_id = $1 AND key = $2`, t.institute, t.Once, t.Request[:], onceRetained).
		Scan(&r.Status, &r.Location, &r.Tag, &r.Body, &same, &old)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil, nil
	case err != nil:
		return nil, err
	case old:
		_, err = t.Exec(ctx, `DELETE FROM idempotency WHERE institute_id = $1 AND key = $2`, t.institute, t.Once)
		return nil, err
	case !same:
		return nil, errs.New(errs.KindImpossible, "", errs.Field{Header: "Idempotency-Key", Code: CodeOtherRequest,
			Detail: "this Idempotency-Key was used for another request of the institute within the last " + onceRetained + "; take a new one for each new request"})
	}
	return &r, nil
}

// keep stores the answer for repetitions.
func (t *acting) keep(ctx context.Context, r catalog.Reply) error {
	if t.Once == "" || t.institute == "" {
		return nil
	}
	_, err := t.Exec(ctx, `
		INSERT INTO idempotency (institute_id, key, request_hash, status, location, tag, body) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		t.institute, t.Once, t.Request[:], r.Status, nullText(r.Location), nullText(r.Tag), r.Body)
	return err
}

// noted is what an audit row says of a change.
type noted struct {
	action     string
	kind       catalog.Kind
	id         string
	revision   int // 0 = none
	from, to   catalog.State
	reasonCode string
}

// note leaves the audit row of a change.
func (t *acting) note(ctx context.Context, n noted) error {
	var revision *int
	if n.revision > 0 {
		revision = &n.revision
	}
	_, err := t.Exec(ctx, `
		INSERT INTO audit (institute_id, person_id, key_id, request_id, action, record_kind, record_id, revision, from_state, to_state, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		nullText(t.institute), nullText(t.person), nullText(t.KeyID), nullText(t.RequestID), n.action, string(n.kind), n.id, revision,
		nullText(string(n.from)), nullText(string(n.to)), nullText(n.reasonCode))
	return err
}

// forgetAtOnce is how many answers one statement drops: few enough for its time limit.
const forgetAtOnce = 10_000

// ForgetReplies drops kept answers that are older than a day, and tells how many. The service calls it
// every hour.
func (s *Store) ForgetReplies(ctx context.Context) (int64, error) {
	conn, err := s.acquire(ctx)
	if err != nil {
		return 0, err
	}
	defer conn.Release()
	for total := int64(0); ; {
		done, err := conn.Exec(ctx, `
			DELETE FROM idempotency WHERE ctid = ANY (ARRAY(
				SELECT ctid FROM idempotency WHERE created_at < now() - $1::interval LIMIT $2))`, onceRetained, forgetAtOnce)
		total += done.RowsAffected()
		if err != nil || done.RowsAffected() < forgetAtOnce {
			return total, wrap(err, "old answers could not be dropped")
		}
	}
}
