package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/httpapi"
	"statorbook/internal/localpg"
	"statorbook/internal/postgres"
)

// lab is a whole service on a database of its own, for one evaluation.
type lab struct {
	service *service
	db      *database
	base    string // http://host:port once it listens
	client  *http.Client
	server  *http.Server
	served  chan error
}

// openLab starts a private Postgres in a folder, migrates it and stores the reference tables. Nothing
// of it survives, so it need not be durable.
func openLab(ctx context.Context, c console, cfg config, root string) (*lab, error) {
	// As root the server runs as another user, who must be able to pass through.
	if err := os.Chmod(filepath.Dir(root), 0o755); err != nil {
		return nil, err
	}
	log := slog.New(slog.NewTextHandler(c.err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	own := localpg.Config{Root: root, BinDir: cfg.pgBin, Unsafe: true, Log: log}
	if home, err := localpg.DefaultRoot("statorbook"); err == nil {
		own.BinCache = filepath.Join(home, "binaries") // fetched programs are shared with serve
	}
	pg, err := localpg.Start(ctx, own)
	if err != nil {
		return nil, fmt.Errorf("evaluate runs on a Postgres of its own in the temporary folder (TMPDIR): %w", err)
	}
	db := &database{appURL: pg.AppURL(), ownerURL: pg.OwnerURL(), private: pg}
	l := &lab{service: newService(c, config{}, log), db: db, served: make(chan error, 1)}
	if err := l.prepare(ctx, log); err != nil {
		return nil, errors.Join(err, l.close())
	}
	return l, nil
}

func (l *lab) prepare(ctx context.Context, log *slog.Logger) error {
	if err := l.db.migrate(ctx, log); err != nil {
		return err
	}
	store, err := postgres.Open(ctx, l.db.appURL, postgres.WithStoreLog(log))
	if err != nil {
		return err
	}
	l.service.store.store.Store(store)
	for _, name := range []string{wiresBundle, insulationBundle} {
		if err := seedBundle(ctx, store, log, name); err != nil {
			return err
		}
	}
	return nil
}

// load imports a catalogue, all of it or none.
func (l *lab) load(ctx context.Context, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }() // read only
	var bad []catalog.ImportRow
	report, err := l.service.store.store.Load().Import(ctx, bundle.NewReader(f, bundle.Options{}), postgres.ImportOptions{
		Strict: true,
		OnRow: func(r catalog.ImportRow) error {
			if r.Outcome == catalog.OutcomeRefused || r.Outcome == catalog.OutcomeConflicting {
				bad = append(bad, r)
			}
			return nil
		},
	})
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w", path, err)
	case len(bad) > 0:
		r := bad[0]
		text := fmt.Sprintf("%s: line %d: %s %s: %s: %s", path, r.Line, r.Kind, r.ID, r.Code, r.Detail)
		for _, f := range r.Fields {
			text += fmt.Sprintf(" (%s: %s)", f.Pointer, f.Detail)
		}
		if len(bad) > 1 {
			text += fmt.Sprintf(", and %d more lines", len(bad)-1)
		}
		return errors.New(text)
	case !report.Applied:
		return fmt.Errorf("%s: nothing in it is new", path)
	}
	return l.service.keeper.refresh(ctx)
}

// listen serves the real handler on a free port of this machine.
func (l *lab) listen(workers int) error {
	handler, err := l.service.handler()
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	l.base = "http://" + listener.Addr().String()
	l.server = httpapi.NewServer(handler)
	go func() { l.served <- l.server.Serve(listener) }()
	// Bodies stay as they are: packing them would be measured too, and nobody is far away.
	l.client = &http.Client{Transport: &http.Transport{DisableCompression: true, MaxIdleConnsPerHost: workers}}
	return nil
}

// errUnanswered marks a request that the service understood and could not answer (422).
var errUnanswered = errors.New("no answer")

// post sends a body and reads the answer into a struct.
func (l *lab) post(ctx context.Context, path string, body []byte, into any) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, l.base+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	res, err := l.client.Do(req)
	if err != nil {
		return err
	}
	defer func() { _ = res.Body.Close() }()
	answer, err := io.ReadAll(res.Body)
	if err != nil {
		return err
	}
	if res.StatusCode == http.StatusUnprocessableEntity {
		return errUnanswered
	}
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("POST %s: %s: %s", path, res.Status, problemText(answer))
	}
	return json.Unmarshal(answer, into)
}

// problemText words a problem document: its detail and the first thing wrong.
func problemText(body []byte) string {
	var p struct {
		Detail string
		Errors []struct{ Pointer, Detail string }
	}
	if err := json.Unmarshal(body, &p); err != nil {
		return string(body[:min(len(body), 200)])
	}
	if len(p.Errors) > 0 {
		return fmt.Sprintf("%s %s: %s", p.Detail, p.Errors[0].Pointer, p.Errors[0].Detail)
	}
	return p.Detail
}

// close stops serving and ends the database.
func (l *lab) close() error {
	var err error
	if l.server != nil {
		l.client.CloseIdleConnections()
		if err = l.server.Close(); err == nil {
			if err = <-l.served; errors.Is(err, http.ErrServerClosed) {
				err = nil
			}
		}
	}
	if store := l.service.store.store.Load(); store != nil {
		store.Close()
	}
	return errors.Join(err, l.db.close())
}
