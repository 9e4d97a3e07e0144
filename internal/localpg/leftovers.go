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

const (
	socketName = ".s.PGSQL.5432"
	pidName    = "postmaster.pid"
)

// readPidFile returns the state word and the process id that postgres keeps in
// its data folder; empty and 0 without such a file.
func readPidFile(data string) (state string, pid int) {
	text, err := os.ReadFile(filepath.Join(data, pidName))
	if err != nil {
		return "", 0
	}
	lines := strings.Split(string(text), "\n")
	pid, err = strconv.Atoi(strings.TrimSpace(lines[0]))
	if err != nil {
		return "", 0
	}
	// Line 8 is the state since PostgreSQL 10 (src/include/utils/pidfile.h).
	if len(lines) >= 8 {
		state = strings.TrimSpace(lines[7])
	}
	return state, pid
}

// clearLeftovers ends a postgres that outlived its owner and removes the files
// that a killed one left. postgres itself asks only whether the process id is
// alive, so a recycled id or a zombie would block it; we hold the lock and look
// at the command line instead. A living backend is still guarded against, by
// the server's check of its shared memory.
func (s *Server) clearLeftovers(ctx context.Context) error {
	_, pid := readPidFile(s.data)
	if pid > 0 && runsOn(pid, s.data) {
		s.cfg.Log.Warn("stopping a postgres left over from an earlier run", "pid", pid)
		if err := endLeftover(ctx, pid, s.data); err != nil {
			return err
		}
	}
	if _, err := os.Lstat(filepath.Join(s.data, pidName)); err == nil {
		s.cfg.Log.Warn("the last run did not stop cleanly, postgres will recover")
	}
	for _, path := range []string{
		filepath.Join(s.data, pidName),
		filepath.Join(s.socket, socketName+".lock"),
		filepath.Join(s.socket, socketName),
	} {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return folderError(s.cfg.Root, err)
		}
	}
	return nil
}

// endLeftover asks a postgres that is not our child to stop, and waits until its
// command line is gone; a zombie that nobody reaps would answer signals for ever.
func endLeftover(ctx context.Context, pid int, data string) error {
	for _, ask := range stopSignals {
		if err := syscall.Kill(pid, ask.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("a postgres of an earlier run still uses %s and cannot be stopped: process %d: %w", data, pid, err)
		}
		for end := time.Now().Add(ask.wait); time.Now().Before(end); {
			if !runsOn(pid, data) {
				return nil
			}
			if err := sleep(ctx, 20*time.Millisecond); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("a postgres of an earlier run still uses %s and does not stop: end process %d yourself", data, pid)
}

// runsOn says whether a process is a postgres on this data folder.
func runsOn(pid int, data string) bool {
	args := commandLine(pid)
	for i := 1; i+1 < len(args); i++ {
		if args[i] == "-D" && args[i+1] == data {
			return true
		}
	}
	return false
}
