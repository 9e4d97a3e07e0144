package postgres_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/postgres"
)

// digest is a line for each table with one hash over all its rows.
func digest(t testing.TB, h *house) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), h.owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	// FORCE hides private rows from the owner too, unless he says for whom he looks.
	_, err = conn.Exec(t.Context(), `SELECT set_config('statorbook.institute', id::text, false) FROM institute WHERE slug = $1`, houseSlug)
	require.NoError(t, err)
	var all, d string
	require.NoError(t, conn.QueryRow(t.Context(), `
		SELECT string_agg(format('SELECT %1$L || md5(coalesce(string_agg(x::text, chr(10) ORDER BY x::text), %2$L)) AS line FROM %1$I x', relname, ''), ' UNION ALL ' ORDER BY relname)
		FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace`).Scan(&all))
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT string_agg(line, chr(10)) FROM (`+all+`) l`).Scan(&d))
	require.Greater(t, strings.Count(d, "\n"), 20)
	return d
}

// faults makes writes fail, or only notes where they go.
type faults struct {
	*pgx.Conn
	t      testing.TB
	tables []string
}

func openFaults(t testing.TB, h *house) *faults {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), h.owner)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	f := &faults{Conn: conn, t: t}
	f.run(`CREATE SCHEMA fault`)
	f.run(`CREATE TABLE fault.touched (place text PRIMARY KEY)`)
	f.run(`CREATE FUNCTION fault.note() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$ BEGIN
		INSERT INTO fault.touched VALUES (TG_OP || ' ON ' || TG_TABLE_NAME) ON CONFLICT DO NOTHING; RETURN NULL; END $$`)
	f.run(`CREATE FUNCTION fault.fail() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'made to fail' USING ERRCODE = 'disk_full'; END $$`)
	f.run(`CREATE SEQUENCE fault.tries`)
	f.run(`CREATE FUNCTION fault.lose() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$ BEGIN
		IF nextval('fault.tries') <= TG_ARGV[0]::bigint THEN RAISE EXCEPTION 'made to lose' USING ERRCODE = TG_ARGV[1]; END IF; RETURN NULL; END $$`)
	f.tables = strings.Fields(text(t, h.owner, `SELECT string_agg(relname, ' ') FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND relname NOT LIKE 'goose%'`))
	return f
}

func (f *faults) run(sql string) {
	f.t.Helper()
	_, err := f.Exec(f.t.Context(), sql)
	require.NoError(f.t, err, sql)
}

// places gives every write that an act makes: operation and table.
func (f *faults) places(act func() error) []string {
	f.t.Helper()
	for _, table := range f.tables {
		f.run(`CREATE TRIGGER zz_fault AFTER INSERT OR UPDATE OR DELETE ON ` + table + ` FOR EACH ROW EXECUTE FUNCTION fault.note()`)
	}
	require.NoError(f.t, act())
	for _, table := range f.tables {
		f.run(`DROP TRIGGER zz_fault ON ` + table)
	}
	rows, err := f.Query(f.t.Context(), `DELETE FROM fault.touched RETURNING place`)
	require.NoError(f.t, err)
	places, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(f.t, err)
	return places
}

// at has f called by every write at a place, while do runs.
func (f *faults) at(place, function string, do func()) {
	f.t.Helper()
	f.run(`CREATE TRIGGER zz_fault AFTER ` + place + ` FOR EACH ROW EXECUTE FUNCTION fault.` + function)
	do()
	_, table, _ := strings.Cut(place, " ON ")
	f.run(`DROP TRIGGER zz_fault ON ` + table)
}

// acts are all that changes something, each with what it needs ready made; n tells the runs apart. The
// import has tests of its own.
func acts(t testing.TB, h *house) map[string]func(n int) (act func() error) {
	ctx := t.Context()
	var w catalog.Winding
	out := kept(&w)
	because := catalog.Reason{Code: "other", Text: "demo"}
	report := ""
	reported := func(r catalog.ProblemReport) (catalog.Reply, error) {
		report = r.ID
		return catalog.Reply{Status: 201, Body: []byte("{}")}, nil
	}
	reply := func(_ catalog.Reply, err error) error { return err }
	submitted := func(n int) catalog.Winding {
		w := h.create(t, 0, n)
		_, err := h.Submit(ctx, h.by(0), ref(w.ID), w.Hash, nil, kept(&w))
		require.NoError(t, err)
		return w
	}
	published := func(n int) string {
		w := h.vetted(t, n)
		_, err := h.Publish(ctx, h.by(2), ref(w.ID), "", h.sign, kept(&w))
		require.NoError(t, err)
		return w.ID
	}
	school := func(n int) (slug string) {
		slug = fmt.Sprintf("demo-school-%d", n)
		_, err := h.AddInstitute(ctx, catalog.Act{}, catalog.Institute{Slug: slug, Title: "Demo"}, verifierOf(t, slug, n))
		require.NoError(t, err)
		return slug
	}
	secret := func(n int) postgres.NewKey {
		return postgres.NewKey{ID: fmt.Sprintf("k%011d", n), SecretHash: catalog.Hash{byte(n)}, Days: 9, Now: time.Now()}
	}
	issued := func(n int) string {
		person := fmt.Sprintf("demo-issued-%d", n)
		require.NoError(t, h.AddPerson(ctx, catalog.Act{}, houseSlug, person))
		k, err := h.IssueKey(ctx, catalog.Act{}, houseSlug, person, allScopes, secret(n))
		require.NoError(t, err)
		return k.ID
	}
	return map[string]func(n int) func() error{
		"create": func(n int) func() error {
			return func() error { return reply(h.CreateDraft(ctx, h.by(0), sheet(t, n), out)) }
		},
		"edit": func(n int) func() error {
			w := h.create(t, 0, n)
			return func() error { return reply(h.EditDraft(ctx, h.by(0), ref(w.ID), sheet(t, n+1), out)) }
		},
		"submit": func(n int) func() error {
			w := h.create(t, 0, n)
			return func() error { return reply(h.Submit(ctx, h.by(0), ref(w.ID), w.Hash, nil, out)) }
		},
		"vet": func(n int) func() error {
			w := submitted(n)
			return func() error { return reply(h.Vet(ctx, h.by(1), ref(w.ID), w.Hash, nil, out)) }
		},
		"return": func(n int) func() error {
			w := submitted(n)
			return func() error { return reply(h.Return(ctx, h.by(1), ref(w.ID), "demo", out)) }
		},
		"publish": func(n int) func() error {
			w := h.vetted(t, n)
			return func() error { return reply(h.Publish(ctx, h.by(2), ref(w.ID), "", h.sign, out)) }
		},
		"publish a family": func(n int) func() error { return publishFamily(t, h, n) },
		"erratum": func(n int) func() error {
			id := published(n)
			return func() error { return reply(h.StartErratum(ctx, h.by(0), catalog.KindWinding, id, because, out)) }
		},
		"withdraw": func(n int) func() error {
			id := published(n)
			return func() error {
				return reply(h.Withdraw(ctx, h.by(2), catalog.KindWinding, id, because, h.sign, out))
			}
		},
		"sight": func(n int) func() error {
			id := published(n)
			return func() error { return reply(h.Sight(ctx, h.by(3), id, "job", out)) }
		},
		"report": func(n int) func() error {
			id := published(n)
			return func() error { return reply(h.Report(ctx, h.by(3), catalog.KindWinding, id, "hot", reported)) }
		},
		"answer": func(n int) func() error {
			id := published(n)
			require.NoError(t, reply(h.Report(ctx, h.by(3), catalog.KindWinding, id, "hot", reported)))
			which := report
			return func() error {
				return reply(h.AnswerReport(ctx, h.by(2), catalog.KindWinding, id, which, "done", reported))
			}
		},
		"add an institute": func(n int) func() error {
			slug := fmt.Sprintf("demo-new-%d", n)
			return func() error {
				_, err := h.AddInstitute(ctx, catalog.Act{}, catalog.Institute{Slug: slug, Title: "Demo"}, verifierOf(t, slug, n))
				return err
			}
		},
		"add a person": func(n int) func() error {
			return func() error { return h.AddPerson(ctx, catalog.Act{}, houseSlug, fmt.Sprintf("demo-more-%d", n)) }
		},
		"issue a key": func(n int) func() error {
			return func() error {
				_, err := h.IssueKey(ctx, catalog.Act{}, houseSlug, person(n%2), allScopes, secret(n))
				return err
			}
		},
		"rotate a key": func(n int) func() error {
			id := issued(n)
			return func() error { _, err := h.RotateKey(ctx, catalog.Act{}, id, secret(n+500)); return err }
		},
		"revoke a key": func(n int) func() error {
			id := issued(n)
			return func() error { _, err := h.RevokeKey(ctx, catalog.Act{}, id, time.Now()); return err }
		},
		"rotate a signing key": func(n int) func() error {
			slug := school(n)
			return func() error { return h.RotateSigningKey(ctx, catalog.Act{}, slug, verifierOf(t, slug, n+500)) }
		},
		"retire a signing key": func(n int) func() error {
			slug := school(n)
			return func() error { _, err := h.RetireSigningKey(ctx, catalog.Act{}, slug); return err }
		},
		"pin a signing key": func(n int) func() error {
			slug := fmt.Sprintf("demo-far-%d", n)
			return func() error {
				return h.AcceptSigningKey(ctx, catalog.Act{}, catalog.Institute{Slug: slug, Title: "Demo"}, verifierOf(t, slug, n))
			}
		},
	}
}

// publishFamily brings a family to the state in which it may be published.
func publishFamily(t testing.TB, h *house, n int) func() error {
	made := sampleFamily(t, n, func(f *bundle.Family) { f.Demo, f.Slug, f.ID = false, "", "" }).body.(*bundle.Family).ToDomain()
	var f catalog.Family
	out := func(record catalog.Record) (catalog.Reply, error) {
		f = record.(catalog.Family)
		return catalog.Reply{Status: 200, Body: []byte("{}")}, nil
	}
	_, err := h.CreateDraft(t.Context(), h.by(0), made, out)
	require.NoError(t, err)
	d := catalog.DraftRef{Kind: catalog.KindFamily, ID: f.ID}
	_, err = h.Submit(t.Context(), h.by(0), d, f.Hash, nil, out)
	require.NoError(t, err)
	_, err = h.Vet(t.Context(), h.by(1), d, f.Hash, nil, out)
	require.NoError(t, err)
	return func() error { _, err := h.Publish(t.Context(), h.by(2), d, "", h.sign, out); return err }
}

// Row F14: whichever write of whichever act fails, nothing of the act stays. Where an act writes is seen by
// running it once; nothing is left to a list that somebody would have to keep.
func TestNothingOfAFailedActStays(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	f := openFaults(t, h)
	n := 0
	for name, prepare := range acts(t, h) {
		n += 2
		places := f.places(prepare(n))
		require.Contains(t, places, "INSERT ON audit", name)
		act := prepare(n + 1)
		before := digest(t, h)
		for _, place := range places {
			f.at(place, `fail()`, func() {
				err := act()
				require.Equal(t, errs.KindStorageFull, errs.KindOf(err), "%s: %s: %v", name, place, err)
			})
			require.Equal(t, before, digest(t, h), "%s: %s", name, place)
		}
		require.NoError(t, act(), "%s: and without the fault it goes through", name)
		require.NotEqual(t, before, digest(t, h), name)
		t.Logf("%s: %d places", name, len(places))
	}
}

// Row F17: an act that loses a race in the database, to another transaction or in a deadlock, is tried again,
// three times in all, and then the caller is told to. It is done once or not at all.
func TestLostRacesAreTriedAgain(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	f := openFaults(t, h)
	tries := func() string { return text(t, h.owner, `SELECT last_value::text FROM fault.tries`) }
	for n, state := range []string{"40001", "40P01"} {
		before := digest(t, h)
		f.run(`ALTER SEQUENCE fault.tries RESTART`)
		f.at("INSERT ON audit", `lose(1000, '`+state+`')`, func() {
			_, err := h.CreateDraft(t.Context(), h.by(0), sheet(t, n), kept(new(catalog.Winding)))
			require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
			require.ErrorContains(t, err, "Try again")
		})
		require.Equal(t, "3", tries(), state)
		require.Equal(t, before, digest(t, h), state)

		f.run(`ALTER SEQUENCE fault.tries RESTART`)
		f.at("INSERT ON audit", `lose(2, '`+state+`')`, func() { h.create(t, 0, n) })
		require.Equal(t, "3", tries(), state)
	}
	require.Equal(t, "2 2", text(t, h.owner, `SELECT count(*) || ' ' || (SELECT count(*) FROM idempotency) FROM audit WHERE action = 'create'`), "each once")
}
