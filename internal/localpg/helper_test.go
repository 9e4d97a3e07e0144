//go:build unix && !aix && !solaris

package localpg

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// A test that needs a process to kill runs this test binary again, with the name
// of a role in this variable and the state folder in the next.
const (
	helperRole = "LOCALPG_HELPER"
	helperRoot = "LOCALPG_HELPER_ROOT"
)

// patience is the limit of what must happen at some time, no matter when: the machine may be loaded.
const patience = 5 * time.Minute

// golden is a stopped cluster with roles and database, made once by initdb.
var golden struct {
	once sync.Once
	dir  string
	err  error
}

func TestMain(m *testing.M) {
	if role := os.Getenv(helperRole); role != "" {
		os.Exit(helper(role, os.Getenv(helperRoot)))
	}
	code := m.Run()
	if golden.dir != "" {
		_ = os.RemoveAll(golden.dir)
	}
	os.Exit(code)
}

// helper is the main function of the second process. It prints "ready" and the
// server's process id, then waits for Ctrl-C, or writes rows until it is killed.
func helper(role, root string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	s, err := Start(ctx, Config{Root: root})
	if err != nil {
		fmt.Println("error", err)
		return 1
	}
	fmt.Println("ready", s.proc.pid())
	if role == "write" {
		fmt.Println("error", writeForever(ctx, s.OwnerURL()))
		return 1
	}
	<-ctx.Done()
	time.Sleep(200 * time.Millisecond) // a request in flight: it must still find its database
	if err := ping(context.Background(), s.AppURL()); err != nil {
		fmt.Println("error postgres was gone before its user:", err)
		return 1
	}
	if err := s.Stop(); err != nil {
		fmt.Println("error", err)
		return 1
	}
	return 0
}

// writeForever prints each number that the database has acknowledged.
func writeForever(ctx context.Context, url string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, "create table written (n int)"); err != nil {
		return err
	}
	for n := 1; ; n++ {
		if _, err := conn.Exec(ctx, "insert into written values ($1)", n); err != nil {
			return err
		}
		fmt.Println(n)
	}
}

// child is a running helper.
type child struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	pgPid int
}

// startChild runs a helper in a process group of its own, as a shell would.
func startChild(t *testing.T, role, root string) *child {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	c := &child{cmd: exec.Command(exe)}
	c.cmd.Env = append(os.Environ(), helperRole+"="+role, helperRoot+"="+root)
	c.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.cmd.Start())
	t.Cleanup(func() {
		if c.cmd.ProcessState == nil {
			_ = c.cmd.Process.Kill()
			_ = c.cmd.Wait()
		}
	})
	c.lines = bufio.NewScanner(out)
	require.True(t, c.lines.Scan(), "the helper said nothing")
	_, err = fmt.Sscanf(c.lines.Text(), "ready %d", &c.pgPid)
	require.NoError(t, err, "the helper said: %s", c.lines.Text())
	return c
}

// memoryParent is a folder in memory, where the system has one with room.
var memoryParent string

// publicDir is a temporary folder, in memory if possible, that the server's user
// may enter; the one of testing.T is closed to all but its owner.
func publicDir(t *testing.T) string { return publicDirIn(t, memoryParent) }

// diskDir is publicDir on a real file system.
func diskDir(t *testing.T) string { return publicDirIn(t, "") }

func publicDirIn(t *testing.T, parent string) string {
	t.Helper()
	dir, err := os.MkdirTemp(parent, "localpg-")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	require.NoError(t, os.Chmod(dir, 0o755))
	dir, err = filepath.EvalSymlinks(dir)
	require.NoError(t, err)
	return dir
}

// goldenData returns the data folder to copy from.
func goldenData(t *testing.T) string {
	t.Helper()
	golden.once.Do(func() {
		if golden.dir, golden.err = os.MkdirTemp(memoryParent, "localpg-golden-"); golden.err != nil {
			return
		}
		if golden.err = os.Chmod(golden.dir, 0o755); golden.err != nil {
			return
		}
		var s *Server
		if s, golden.err = Start(context.Background(), Config{Root: golden.dir, Unsafe: true}); golden.err == nil {
			golden.err = s.Stop()
		}
	})
	require.NoError(t, golden.err)
	return filepath.Join(golden.dir, "data")
}

// logLines collects what a person would see.
type logLines struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *logLines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

func (l *logLines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

func (l *logLines) logger() *slog.Logger { return slog.New(slog.NewTextHandler(l, nil)) }

// start runs a server on a copy of the golden cluster and stops it at the end.
func start(t *testing.T, cfg Config) *Server {
	t.Helper()
	if cfg.CopyFrom == "" {
		cfg.CopyFrom = goldenData(t)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	s, err := Start(ctx, cfg)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Stop()) })
	return s
}

// query returns one text from a database.
func query(t *testing.T, url, sql string) string {
	t.Helper()
	text, err := tryQuery(url, sql)
	require.NoError(t, err)
	return text
}

func tryQuery(url, sql string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return "", err
	}
	defer func() { _ = conn.Close(ctx) }()
	var text string
	err = conn.QueryRow(ctx, sql).Scan(&text)
	return text, err
}

func exec1(t *testing.T, url, sql string) {
	t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(ctx) }()
	_, err = conn.Exec(ctx, sql)
	require.NoError(t, err)
}

// script writes an executable shell script.
func script(t *testing.T, path, body string) {
	t.Helper()
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte("#!/bin/sh\nPATH=/usr/bin:/bin\n"+body), 0o755))
}

// realBin is the folder of this machine's server programs.
func realBin(t *testing.T) string {
	t.Helper()
	b, err := FindBinaries(context.Background(), Config{Root: publicDir(t)})
	require.NoError(t, err)
	return b.Dir
}

// eventually waits for a condition.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(20 * time.Millisecond) {
		require.True(t, time.Now().Before(end), "not within %s: %s", patience, what)
	}
}

func lastLine(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	return lines[len(lines)-1]
}
