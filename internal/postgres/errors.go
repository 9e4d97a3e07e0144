package postgres

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"statorbook/internal/errs"
)

// SQLSTATE codes that are looked for by name. The list is in the manual's appendix A.
const (
	uniqueViolation     = "23505"
	foreignKeyViolation = "23503"
	checkViolation      = "23514"
	restrictViolation   = "23001" // raised by the guards of insert-only tables
	lockNotAvailable    = "55P03"
	serialization       = "40001"
	deadlock            = "40P01"
	undefinedTable      = "42P01"
	readOnlyTransaction = "25006"
	idleInTransaction   = "25P03"
	transactionTimeout  = "25P04"
)

// stateKinds turns a SQLSTATE, or its class of two characters, into a kind. The longest key wins.
var stateKinds = map[string]errs.Kind{
	"08":                errs.KindUnavailable, // connection exception
	"57P":               errs.KindUnavailable, // shutdown, crash, cannot connect now
	"53":                errs.KindUnavailable, // no memory, too many connections
	"53100":             errs.KindStorageFull, // disk full
	"57014":             errs.KindTimeout,     // statement_timeout, or cancelled
	lockNotAvailable:    errs.KindTimeout,
	idleInTransaction:   errs.KindTimeout,
	transactionTimeout:  errs.KindTimeout,
	undefinedTable:      errs.KindUnavailable, // still migrating
	readOnlyTransaction: errs.KindUnavailable, // the primary became a replica
	serialization:       errs.KindUnavailable, // lost a race: trying again may win it
	deadlock:            errs.KindUnavailable,
	uniqueViolation:     errs.KindConflict,
	foreignKeyViolation: errs.KindConflict,
	restrictViolation:   errs.KindConflict,
	checkViolation:      errs.KindImpossible,
	"23502":             errs.KindImpossible, // not null
	"22":                errs.KindImpossible, // data exception: out of range, bad text
}

// details are the sentences that a caller may see.
var details = map[errs.Kind]string{
	errs.KindUnavailable: "The database cannot be reached at the moment. Try again.",
	errs.KindTimeout:     "The database did not answer in time. Try again.",
	errs.KindStorageFull: "The database has no room left.",
	errs.KindConflict:    "The stored data does not allow this change.",
	errs.KindImpossible:  "A value is outside what can be stored.",
}

// kindOfState gives the kind of a SQLSTATE, KindInternal for one that is nobody's fault but ours.
func kindOfState(state string) errs.Kind {
	for n := len(state); n >= 2; n-- {
		if kind, ok := stateKinds[state[:n]]; ok {
			return kind
		}
	}
	return errs.KindInternal
}

// hasState says whether err comes from the server with this SQLSTATE.
func hasState(err error, state string) bool {
	var server *pgconn.PgError
	return errors.As(err, &server) && server.Code == state
}

// wrap classifies an error of the driver. doing says what failed, for the log of an internal
// fault; the known kinds carry a neutral sentence. An error that is already ours stays as it is.
func wrap(err error, doing string) error {
	var ours *errs.Error
	if err == nil || errors.As(err, &ours) {
		return err
	}
	kind := classify(err)
	detail, known := details[kind]
	if !known {
		detail = doing
	}
	return errs.Wrap(kind, detail, err)
}

// classify gives the kind of an error that did not come from us.
func classify(err error) errs.Kind {
	var server *pgconn.PgError
	if errors.As(err, &server) {
		return kindOfState(server.Code)
	}
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return errs.KindTimeout
	}
	var connect *pgconn.ConnectError
	var network net.Error
	switch {
	case errors.As(err, &connect), errors.As(err, &network), pgconn.SafeToRetry(err),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed),
		strings.Contains(err.Error(), "conn closed"), strings.Contains(err.Error(), "closed pool"):
		return errs.KindUnavailable
	}
	return errs.KindInternal
}

// unknownOutcome is for an error of a commit: unless the server itself refused it, nobody knows whether the
// change was stored. once tells that the request has an Idempotency-Key.
func unknownOutcome(err error, once bool) error {
	var server *pgconn.PgError
	refused := errors.As(err, &server) && !strings.HasPrefix(server.Code, "57P") // 57P: it ended meanwhile
	if kind := classify(err); refused || kind != errs.KindTimeout && kind != errs.KindUnavailable {
		return err
	}
	detail := "It is not known whether the change was stored. Read the record again."
	if once {
		detail = "It is not known whether the change was stored. Send the same request again with the same Idempotency-Key: it counts once."
	}
	return errs.Wrap(errs.KindUnavailable, detail, err)
}

// noRow turns "no rows" into a not-found with the caller's words, and wraps the rest.
func noRow(err error, notFound, doing string) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return errs.New(errs.KindNotFound, notFound)
	}
	return wrap(err, doing)
}
