package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
)

// TestStatesHaveKinds lists SQLSTATE codes of the manual's appendix A with the kind that a caller hears.
func TestStatesHaveKinds(t *testing.T) {
	t.Parallel()
	cases := []struct {
		state string
		want  errs.Kind
	}{
		{"08006", errs.KindUnavailable}, // connection_failure
		{"57P01", errs.KindUnavailable}, // admin_shutdown
		{"57P03", errs.KindUnavailable}, // cannot_connect_now
		{"53100", errs.KindStorageFull}, // disk_full
		{"53200", errs.KindUnavailable}, // out_of_memory
		{"53300", errs.KindUnavailable}, // too_many_connections
		{"57014", errs.KindTimeout},     // query_canceled
		{"55P03", errs.KindTimeout},     // lock_not_available
		{"25P03", errs.KindTimeout},     // idle_in_transaction_session_timeout
		{"25006", errs.KindUnavailable}, // read_only_sql_transaction
		{"40001", errs.KindUnavailable}, // serialization_failure
		{"40P01", errs.KindUnavailable}, // deadlock_detected
		{"42P01", errs.KindUnavailable}, // undefined_table
		{"23505", errs.KindConflict},    // unique_violation
		{"23503", errs.KindConflict},    // foreign_key_violation
		{"23001", errs.KindConflict},    // restrict_violation
		{"23514", errs.KindImpossible},  // check_violation
		{"23502", errs.KindImpossible},  // not_null_violation
		{"22003", errs.KindImpossible},  // numeric_value_out_of_range
		{"22021", errs.KindImpossible},  // character_not_in_repertoire
		{"42501", errs.KindInternal},    // insufficient_privilege: a missing grant is a fault of ours
		{"42601", errs.KindInternal},    // syntax_error
		{"XX001", errs.KindInternal},    // data_corrupted
	}
	for _, c := range cases {
		err := wrap(fmt.Errorf("doing: %w", &pgconn.PgError{Code: c.state, Message: "secret detail"}), "it failed")
		require.Equal(t, c.want, errs.KindOf(err), c.state)
		var ours *errs.Error
		require.ErrorAs(t, err, &ours)
		require.NotContains(t, ours.Detail, "secret", "the cause stays in the log")
		require.ErrorContains(t, err, "secret detail", "and is in the log")
	}
}

func TestOtherErrorsHaveKinds(t *testing.T) {
	t.Parallel()
	own := errs.New(errs.KindNotFound, "no such thing")
	cases := []struct {
		name string
		err  error
		want errs.Kind
	}{
		{"ours stays", own, errs.KindNotFound},
		{"ours stays under a wrapper", fmt.Errorf("more: %w", own), errs.KindNotFound},
		{"deadline", fmt.Errorf("x: %w", context.DeadlineExceeded), errs.KindTimeout},
		{"cancelled", context.Canceled, errs.KindTimeout},
		{"refused", &net.OpError{Op: "dial", Err: errors.New("refused")}, errs.KindUnavailable},
		{"cut", io.ErrUnexpectedEOF, errs.KindUnavailable},
		{"closed connection", net.ErrClosed, errs.KindUnavailable},
		{"closed pool", errors.New("closed pool"), errs.KindUnavailable},
		{"anything else", errors.New("bug"), errs.KindInternal},
	}
	for _, c := range cases {
		require.Equal(t, c.want, errs.KindOf(wrap(c.err, "it failed")), c.name)
	}
	require.NoError(t, wrap(nil, "it failed"))
	require.Equal(t, errs.KindNotFound, errs.KindOf(noRow(pgx.ErrNoRows, "No such family.", "x")))
	require.Equal(t, errs.KindTimeout, errs.KindOf(noRow(context.DeadlineExceeded, "No such family.", "x")))
}

// A commit whose answer is lost, or cut off by the server's own end, may have been stored. One that the server
// refused was not.
func TestUnknownOutcome(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		err     error
		unknown bool
	}{
		{io.ErrUnexpectedEOF, true}, {context.DeadlineExceeded, true},
		{&pgconn.PgError{Code: "57P01"}, true}, {&pgconn.PgError{Code: "57P02"}, true}, // another process crashed
		{&pgconn.PgError{Code: serialization}, false}, {&pgconn.PgError{Code: "23514"}, false}, {&pgconn.PgError{Code: "53100"}, false},
		{errors.New("of our own"), false},
	} {
		for once, remedy := range map[bool]string{true: "same Idempotency-Key", false: "Read the record again"} {
			got := unknownOutcome(row.err, once)
			require.ErrorIs(t, got, row.err)
			if !row.unknown {
				require.Equal(t, row.err, got)
				continue
			}
			require.Equal(t, errs.KindUnavailable, errs.KindOf(got), "%v", row.err)
			require.ErrorContains(t, got, "not known whether")
			require.ErrorContains(t, got, remedy)
		}
	}
}
