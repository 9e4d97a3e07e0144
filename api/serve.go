package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"syscall"
	"time"

	"statorbook/internal/httpapi"
	"statorbook/internal/postgres"

	"github.com/google/uuid"
)

var serveCommand = command{
	name: "serve", args: "[-quota N]", summary: "serve the API (the default)",
	help: `Serves on STATORBOOK_ADDR (default 127.0.0.1:8080) from DATABASE_URL, or from a private Postgres
that it finds or fetches itself; migrates and seeds first. Stop it with Ctrl-C.

  -quota  requests a minute of one key, or of one address without a key (default 60000; 0 = no limit)`,
	run: serve,
}

// Requests a minute: a thousand a second is more than a shop or a class asks for, and little enough that
// one runaway script leaves room for the others.
const (
	defaultQuota = 60_000
	maxQuota     = 100_000_000
)

// drainTime is how long requests in flight may still take after a stop was asked for.
const drainTime = 8 * time.Second

// service is one running server process.
type service struct {
	cfg      config
	quota    int
	log      *slog.Logger
	out      console
	store    lateStore
	signing  signingKeys
	keeper   *keeper
	started  bool
	database *database
}

// newService returns a service without data and without a quota.
func newService(c console, cfg config, log *slog.Logger) *service {
	s := &service{cfg: cfg, log: log, out: c}
	s.keeper = newKeeper(log, &s.store.store)
	return s
}

func serve(ctx context.Context, c console, cfg config, args []string) error {
	flags := newFlags(c)
	quota := flags.Int("quota", defaultQuota, "")
	if err := flags.Parse(args); err != nil {
		return errUsage
	}
	if err := noArguments(c, flags.Args()); err != nil {
		return err
	}
	if *quota < 0 || *quota > maxQuota {
		return misused(c, "-quota is 0 to %d requests a minute, not %d", maxQuota, *quota)
	}
	s := newService(c, cfg, newLog(c))
	s.quota = *quota
	listener, err := listen(cfg.addr)
	if err != nil {
		return err
	}
	s.signing = openSigningKeys(cfg)
	handler, err := s.handler()
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	server := httpapi.NewServer(handler)
	server.ErrorLog = slog.NewLogLogger(s.log.Handler(), slog.LevelWarn)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()

	err = s.work(ctx, listener.Addr().String(), served)
	s.keeper.bell.Stop()
	drain, cancel := context.WithTimeout(context.Background(), drainTime)
	defer cancel()
	if stopErr := server.Shutdown(drain); err == nil && stopErr != nil {
		err = fmt.Errorf("requests were still running after %s: %w", drainTime, stopErr)
	}
	return errors.Join(err, s.closeData())
}

// listen takes the address, or says in words why it cannot.
func listen(addr string) (net.Listener, error) {
	l, err := net.Listen("tcp", addr)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("%s is taken by another program (perhaps a statorbook that is already running): stop it, or set STATORBOOK_ADDR to another host:port (port 0 takes a free one)", addr)
	}
	return l, err
}

func (s *service) handler() (http.Handler, error) {
	return httpapi.New(httpapi.Config{
		Snapshot:   s.keeper.current.Load,
		Families:   &s.store,
		Windings:   &s.store,
		Drafts:     &s.store,
		Workflow:   &s.store,
		Witnesses:  &s.store,
		Institutes: &s.store,
		Sign:       s.signing.sign,
		Seal:       s.signing.seal,
		Keys:       &s.store,
		Quota:      s.quota,
		Changes:    &s.store,
		Bundles:    &s.store,
		Bell:       s.keeper.bell,
		Refresh:    s.keeper.Refresh,
		Withheld:   s.keeper.withheld.Load,
		Ready:      s.keeper.ready,
		Log:        s.log,
		Version:    version(),
		NewID:      func() string { return uuid.Must(uuid.NewV7()).String() },
		Now:        time.Now,
		PageKey:    pageKey(s.cfg),
	})
}

// pageKey is the same in all processes that share a database. It guards nothing secret: a page
// token only must not be usable with another list.
func pageKey(cfg config) []byte {
	key := sha256.Sum256([]byte("statorbook page tokens\x00" + cfg.databaseURL + "\x00" + cfg.dataDir))
	return key[:]
}

// work gets the data ready, says where the service listens, and keeps the snapshot fresh until the
// end. With DATABASE_URL it waits for a database that does not answer yet.
func (s *service) work(ctx context.Context, addr string, served <-chan error) error {
	db, err := openDatabase(ctx, s.cfg, s.log)
	if err != nil {
		return err
	}
	s.database = db
	for {
		err = s.prepare(ctx, db)
		s.announce(addr, err)
		if err == nil || ctx.Err() != nil {
			break
		}
		if db.private != nil {
			return err
		}
		s.log.Error("the database is not ready; trying again", "error", err, "in", retryAfter)
		if pause(ctx, retryAfter) != nil {
			return nil
		}
	}
	polling, stop := context.WithCancel(ctx)
	defer stop()
	if err == nil {
		go s.keeper.run(polling)
		go s.keeper.forget(polling, forgetEvery)
	}
	select {
	case <-ctx.Done():
		return nil
	case err := <-served:
		return err
	case <-db.died():
		return fmt.Errorf("the private Postgres ended by itself: %w", db.private.Err())
	}
}

// prepare migrates, seeds and loads the first snapshot.
func (s *service) prepare(ctx context.Context, db *database) error {
	if err := db.migrate(ctx, s.log); err != nil {
		return err
	}
	store := s.store.store.Load()
	if store == nil {
		var err error
		if store, err = postgres.Open(ctx, db.appURL, postgres.WithStoreLog(s.log)); err != nil {
			return err
		}
		s.store.store.Store(store)
	}
	if err := seedAll(ctx, store, s.signing, s.log); err != nil {
		return err
	}
	return s.keeper.refresh(ctx)
}

// announce prints once where the service listens, after the first try to get ready.
func (s *service) announce(addr string, err error) {
	if s.started {
		return
	}
	s.started = true
	fmt.Fprintf(s.out.out, "listening on http://%s\n", addr)
	if err == nil {
		fmt.Fprintf(s.out.out, "try: curl http://%s/v1/wires/swg-34\n", addr)
	}
}

// closeData gives the connections back and stops the private Postgres.
func (s *service) closeData() error {
	if store := s.store.store.Load(); store != nil {
		store.Close()
	}
	if s.database == nil {
		return nil
	}
	return s.database.close()
}
