//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
)

// Server is a private PostgreSQL, run by this process or shared with another one.
type Server struct {
	cfg    Config
	socket string // folder of the unix socket; fixed once Start has returned
	data   string
	acct   account
	bins   Binaries
	lock   *os.File // open while this process is the owner
	proc   *process // set while this process is the owner

	cancel  context.CancelFunc // ends the guest's wait for the lock
	watched chan struct{}      // closed when that wait has ended; nil for an owner

	mu       sync.Mutex
	stopping bool
	err      error
	done     chan struct{}

	stopOnce sync.Once
	stopErr  error
}

// Start runs the private server, or joins the one that another process of this
// user runs in the same folder, and returns when the database and both roles can
// be used. ctx bounds the start alone; Stop ends the server.
//
// Start removes the PG* variables of libpq from the environment of this process:
// pgx reads them, and one PGSERVICE made every connection fail.
func Start(ctx context.Context, cfg Config) (*Server, error) {
	cfg, err := cfg.withDefaults()
	if err != nil {
		return nil, err
	}
	unsetLibpqEnv()
	if err := makeStateFolder(cfg.Root); err != nil {
		return nil, err
	}
	// One spelling of the folder: the owner of a left-over process is found by it.
	if cfg.Root, err = filepath.EvalSymlinks(cfg.Root); err != nil {
		return nil, fmt.Errorf("state folder: %w", err)
	}
	s := &Server{
		cfg:    cfg,
		data:   filepath.Join(cfg.Root, "data"),
		cancel: func() {},
		done:   make(chan struct{}),
	}
	if err := s.begin(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

// begin becomes owner or guest, whichever is possible first.
func (s *Server) begin(ctx context.Context) error {
	begun := time.Now()
	told := false
	for {
		held, err := s.tryLock()
		if err != nil {
			return err
		}
		if held {
			s.socket = "" // what an owner that is gone had written
			return s.own(ctx)
		}
		pid, ready := s.ownerReady(ctx)
		if ready {
			s.cfg.Log.Info(fmt.Sprintf("sharing the postgres of process %d", pid), "url", s.AppURL())
			s.waitAsGuest()
			return nil
		}
		if !told && time.Since(begun) > 2*time.Second {
			told = true
			s.cfg.Log.Info(fmt.Sprintf("waiting for process %d to start postgres", pid))
		}
		if err := sleep(ctx, 100*time.Millisecond); err != nil {
			return fmt.Errorf("waiting for process %d to start postgres in %s: %w", pid, s.cfg.Root, err)
		}
	}
}

// OwnerURL connects the role that owns the database: for migrations only.
func (s *Server) OwnerURL() string { return s.URL(s.ownerRole(), s.cfg.Name) }

// AppURL connects the role that serves requests: it owns nothing, is no
// superuser and does not bypass row-level security.
func (s *Server) AppURL() string { return s.URL(s.appRole(), s.cfg.Name) }

// AdminURL connects the superuser to the maintenance database.
func (s *Server) AdminURL() string { return s.URL(superuser, "postgres") }

// URL connects any role to any database of this server.
func (s *Server) URL(role, database string) string {
	return socketURL(s.socket, role, database)
}

func (s *Server) ownerRole() string { return s.cfg.Name + "_owner" }
func (s *Server) appRole() string   { return s.cfg.Name + "_app" }

// DataDir is the cluster's data folder.
func (s *Server) DataDir() string { return s.data }

// Done is closed when postgres ended without being asked to, or when a guest
// could not take over. The program should then end with an error.
func (s *Server) Done() <-chan struct{} { return s.done }

// Err tells why Done was closed; nil before that.
func (s *Server) Err() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// fail records why the server is gone. Only the first reason counts, and none
// after Stop was called.
func (s *Server) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stopping || s.err != nil {
		return
	}
	s.err = err
	s.cfg.Log.Error("private postgres is gone", "error", err)
	close(s.done)
}

// Stop ends the use of the server: an owner stops postgres cleanly, a guest just
// leaves. Close your pools first. It may be called more than once.
func (s *Server) Stop() error {
	s.stopOnce.Do(func() {
		s.mu.Lock()
		s.stopping = true
		s.mu.Unlock()
		s.cancel()
		if s.watched != nil {
			<-s.watched
		}
		s.stopErr = s.leave()
	})
	return s.stopErr
}

// leave stops the postgres of an owner and gives the lock away.
func (s *Server) leave() error {
	defer s.unlock()
	if s.proc == nil {
		return nil
	}
	begun := time.Now()
	if err := s.proc.stop(); err != nil {
		return fmt.Errorf("%w: see %s", err, s.logPath())
	}
	s.cfg.Log.Info("private postgres stopped", "took", time.Since(begun).Round(time.Millisecond))
	return nil
}

// ping connects once and leaves.
func ping(ctx context.Context, url string) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// sleep waits, or returns the context's error.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// unsetLibpqEnv removes what pgx would read behind our back.
func unsetLibpqEnv() {
	for _, name := range []string{
		"PGHOST", "PGPORT", "PGDATABASE", "PGUSER", "PGPASSWORD", "PGPASSFILE", "PGAPPNAME",
		"PGCONNECT_TIMEOUT", "PGSSLMODE", "PGSSLKEY", "PGSSLCERT", "PGSSLCERTMODE", "PGSSLSNI",
		"PGSSLROOTCERT", "PGSSLPASSWORD", "PGSSLNEGOTIATION", "PGTARGETSESSIONATTRS", "PGSERVICE",
		"PGSERVICEFILE", "PGTZ", "PGOPTIONS", "PGMINPROTOCOLVERSION", "PGMAXPROTOCOLVERSION",
		"PGCHANNELBINDING", "PGREQUIREAUTH",
	} {
		// Unsetenv fails only for an empty name.
		_ = os.Unsetenv(name)
	}
}

// errStopped is the cause of a start that was ended by Stop.
var errStopped = errors.New("stopped")
