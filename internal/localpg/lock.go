//go:build unix && !aix && !solaris

package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

func (s *Server) lockPath() string { return filepath.Join(s.cfg.Root, "owner.lock") }

// tryLock takes the owner's lock if nobody has it.
func (s *Server) tryLock() (bool, error) {
	f, err := os.OpenFile(s.lockPath(), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return false, folderError(s.cfg.Root, err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		s.lock = f
		return true, nil
	}
	_ = f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
		return false, nil
	}
	return false, fmt.Errorf("state folder %s: its file system cannot lock files (%w): set STATORBOOK_DATA_DIR to a local folder", s.cfg.Root, err)
}

// unlock gives the lock away; closing the only descriptor does it.
func (s *Server) unlock() {
	if s.lock != nil {
		_ = s.lock.Close()
		s.lock = nil
	}
}

// writeLock tells guests who the owner is and where its socket lies.
func (s *Server) writeLock() error {
	text := fmt.Sprintf("%d\n%s\n", os.Getpid(), s.socket)
	if err := s.lock.Truncate(0); err != nil {
		return folderError(s.cfg.Root, err)
	}
	if _, err := s.lock.WriteAt([]byte(text), 0); err != nil {
		return folderError(s.cfg.Root, err)
	}
	return nil
}

// readLock returns what the owner wrote; ok is false while it is incomplete.
func (s *Server) readLock() (pid int, socket string, ok bool) {
	text, err := os.ReadFile(s.lockPath())
	if err != nil {
		return 0, "", false
	}
	lines := strings.Split(string(text), "\n")
	if len(lines) < 3 {
		return 0, "", false
	}
	pid, err = strconv.Atoi(lines[0])
	return pid, lines[1], err == nil && lines[1] != ""
}

// ownerReady says whether the owner's database answers. It asks for the
// application's database: the maintenance database is there long before.
func (s *Server) ownerReady(ctx context.Context) (int, bool) {
	pid, socket, ok := s.readLock()
	if !ok {
		return pid, false
	}
	if _, err := os.Stat(filepath.Join(socket, socketName)); err != nil {
		return pid, false
	}
	s.socket = socket
	return pid, ping(ctx, s.AppURL()) == nil
}

// waitAsGuest takes over as soon as the owner is gone.
func (s *Server) waitAsGuest() {
	ctx, cancel := context.WithCancelCause(context.Background())
	s.cancel = func() { cancel(errStopped) }
	s.watched = make(chan struct{})
	go func() {
		defer close(s.watched)
		for sleep(ctx, 200*time.Millisecond) == nil {
			held, err := s.tryLock()
			if err == nil && !held {
				continue
			}
			if err == nil {
				s.cfg.Log.Info("the process that ran postgres has left: taking over")
				err = s.own(ctx)
			}
			// Stop during the take-over is no failure.
			if err != nil && ctx.Err() == nil {
				s.fail(fmt.Errorf("taking over the private postgres: %w", err))
			}
			return
		}
	}()
}
