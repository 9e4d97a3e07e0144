//go:build unix && !aix && !solaris

package localpg

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// stopSignals are the ways to ask, and how long each may take: first the fast stop,
// which leaves a clean folder, then the immediate one, after which the next start
// recovers. Never SIGKILL: it leaves backends behind.
var stopSignals = []struct {
	signal syscall.Signal
	wait   time.Duration
}{{syscall.SIGINT, 20 * time.Second}, {syscall.SIGQUIT, 10 * time.Second}}

// process is a running postgres that is our child.
type process struct {
	cmd  *exec.Cmd
	gone chan struct{} // closed when it was reaped
}

// startProcess starts a child that ends with us, where the system offers that.
// The parent-death signal follows the thread that forked: so the goroutine keeps
// its thread, and stays until the child has ended.
func startProcess(cmd *exec.Cmd) (*process, error) {
	setDeathSignal(cmd.SysProcAttr, syscall.SIGINT)
	p := &process{cmd: cmd, gone: make(chan struct{})}
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		_ = cmd.Wait() // what it returned is kept in cmd.ProcessState
		close(p.gone)
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

func (p *process) pid() int { return p.cmd.Process.Pid }

// state describes how the process ended. Only valid once gone is closed.
func (p *process) state() string { return p.cmd.ProcessState.String() }

// stop ends postgres and waits for it.
func (p *process) stop() error {
	for _, ask := range stopSignals {
		if err := p.cmd.Process.Signal(ask.signal); err != nil && !errors.Is(err, os.ErrProcessDone) {
			return err
		}
		timer := time.NewTimer(ask.wait)
		select {
		case <-p.gone:
			timer.Stop()
			return nil
		case <-timer.C:
		}
	}
	return errors.New("postgres does not stop")
}

// maxLog is the size in bytes above which the server's log is put aside at start.
const maxLog = 5 << 20

// openLog opens the server's log for appending and returns its length. One older
// log is kept.
func openLog(path string) (*os.File, int64, error) {
	if info, err := os.Stat(path); err == nil && info.Size() > maxLog {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, 0, err
		}
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err != nil {
		_ = f.Close()
		return nil, 0, err
	}
	return f, info.Size(), nil
}

func logSize(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// tailLog returns the last lines written to the log since position from.
func tailLog(path string, from int64) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return ""
	}
	from = max(from, info.Size()-4096)
	text, _ := io.ReadAll(io.NewSectionReader(f, from, 4096))
	return lastLines(string(text), 6)
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
