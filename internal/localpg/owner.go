//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// own starts postgres. The caller holds the lock; on error it is given away.
func (s *Server) own(ctx context.Context) error {
	err := s.launch(ctx)
	if err == nil {
		go s.reportEnd(s.proc, logSize(s.logPath()))
		return nil
	}
	if s.proc != nil {
		// The start has failed already, so how this stop went adds nothing.
		_ = s.proc.stop()
		s.proc = nil
	}
	s.unlock()
	return err
}

// launch goes from a held lock to a database that can be used.
func (s *Server) launch(ctx context.Context) error {
	acct, err := serverAccount(s.data)
	if err != nil {
		return err
	}
	s.acct = acct
	if err := s.prepareFolders(); err != nil {
		return err
	}
	if err := s.writeLock(); err != nil {
		return err
	}
	if s.bins, err = find(ctx, s.cfg, s.acct, s.data); err != nil {
		return err
	}
	s.cfg.Log.Info(fmt.Sprintf("no DATABASE_URL: private postgres %s, data in %s", s.bins.Version, s.data))
	if err := s.clearLeftovers(ctx); err != nil {
		return err
	}
	if err := s.createData(ctx); err != nil {
		return err
	}
	if err := s.run(ctx); err != nil {
		return err
	}
	if err := s.createDatabase(ctx); err != nil {
		return err
	}
	s.cfg.Log.Info("private postgres ready", "pid", s.proc.pid(), "url", s.AppURL())
	return nil
}

// prepareFolders checks the state folder and makes what postgres needs in it.
func (s *Server) prepareFolders() error {
	if err := checkWritable(s.cfg.Root); err != nil {
		return err
	}
	if err := s.acct.canEnter(s.cfg.Root); err != nil {
		return err
	}
	// Left by a start that was killed; nobody else can be at work here now.
	old, _ := filepath.Glob(filepath.Join(globEscape(s.cfg.Root), "init-*"))
	for _, dir := range old {
		if err := os.RemoveAll(dir); err != nil {
			return folderError(s.cfg.Root, err)
		}
	}
	if s.socket == "" { // a guest that takes over keeps the socket it knows
		s.socket = socketFolder(s.cfg.Root)
	}
	return s.acct.makePrivate(s.socket)
}

// run starts postgres and waits until it accepts connections. After a kill, a
// backend that still lives blocks the start for a moment: hence the retries.
func (s *Server) run(ctx context.Context) error {
	for try := 1; ; try++ {
		from, err := s.startProcess()
		if err != nil {
			return err
		}
		err = s.waitReady(ctx, from)
		if err == nil || ctx.Err() != nil || try == 20 || !strings.Contains(err.Error(), "pre-existing shared memory block") {
			return err
		}
		if err := sleep(ctx, 250*time.Millisecond); err != nil {
			return err
		}
	}
}

// startProcess starts postgres; from is where its messages begin in the log.
func (s *Server) startProcess() (from int64, err error) {
	log, from, err := openLog(s.logPath())
	if err != nil {
		return 0, folderError(s.cfg.Root, err)
	}
	// The child has its own copy. A file, not a pipe: postgres outlives us for a moment.
	defer func() { _ = log.Close() }()
	args := []string{
		"-D", s.data,
		"-c", "listen_addresses=",
		"-c", "unix_socket_directories=" + s.socket,
		"-c", "unix_socket_permissions=0700",
	}
	if s.cfg.Unsafe {
		args = append(args, unsafeArgs...)
	}
	cmd := s.acct.command(context.Background(), filepath.Join(s.bins.Dir, "postgres"), args...)
	cmd.Dir = s.data // our own folder may be closed to the server's user
	cmd.Stdout, cmd.Stderr = log, log
	s.proc, err = startProcess(cmd)
	if err != nil {
		return 0, fmt.Errorf("starting %s: %w", cmd.Path, err)
	}
	return from, nil
}

// waitReady waits for the state that postgres writes into its pid file, as
// pg_ctl does; asking over the socket would cost a new process each time.
// Recovery may take long, so only ctx and the end of postgres bound the wait.
func (s *Server) waitReady(ctx context.Context, from int64) error {
	begun, told := time.Now(), time.Duration(0)
	for {
		if state, pid := readPidFile(s.data); state == "ready" && pid == s.proc.pid() {
			return nil
		}
		if took := time.Since(begun); took > told+10*time.Second {
			told = took
			s.cfg.Log.Info("postgres is still starting or recovering", "log", s.logPath())
		}
		wait := time.NewTimer(20 * time.Millisecond)
		select {
		case <-s.proc.gone:
			wait.Stop()
			return s.endError(s.proc, "postgres did not start", from)
		case <-ctx.Done():
			wait.Stop()
			return fmt.Errorf("starting postgres: %w", context.Cause(ctx))
		case <-wait.C:
		}
	}
}

// endError explains a postgres that has ended, with the last lines of its log.
func (s *Server) endError(p *process, what string, from int64) error {
	lines := tailLog(s.logPath(), from)
	text := fmt.Sprintf("%s (%v)", what, p.state())
	if saysDiskFull(lines) {
		text += fmt.Sprintf(": the disk that holds %s is full, make room and start again", s.data)
	}
	if lines != "" {
		text += "; the end of " + s.logPath() + " says:\n" + lines
	} else {
		text += "; see " + s.logPath()
	}
	return errors.New(text)
}

// reportEnd tells when postgres ends while nobody asked it to.
func (s *Server) reportEnd(p *process, from int64) {
	<-p.gone
	s.mu.Lock()
	stopping := s.stopping
	s.mu.Unlock()
	if !stopping {
		s.fail(s.endError(p, "postgres ended by itself", from))
	}
}
