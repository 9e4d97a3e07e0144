package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"runtime/debug"
	"time"
)

var migrateCommand = command{
	name: "migrate", summary: "bring the database to the newest schema",
	help: "Migrates with DATABASE_OWNER_URL, or DATABASE_URL alone, or the private Postgres. serve does this by itself.",
	run: func(ctx context.Context, c console, cfg config, args []string) error {
		if err := noArguments(c, args); err != nil {
			return err
		}
		log := newLog(c)
		db, err := openDatabase(ctx, cfg, log)
		if err != nil {
			return err
		}
		err = db.migrate(ctx, log)
		if closeErr := db.close(); err == nil {
			err = closeErr
		}
		if err == nil {
			fmt.Fprintln(c.out, "the schema is the newest")
		}
		return err
	},
}

var versionCommand = command{
	name: "version", summary: "print the version",
	help: "Prints the version of the program and of Go.",
	run: func(_ context.Context, c console, _ config, args []string) error {
		if err := noArguments(c, args); err != nil {
			return err
		}
		info, _ := debug.ReadBuildInfo()
		goVersion := "unknown"
		if info != nil {
			goVersion = info.GoVersion
		}
		_, err := fmt.Fprintf(c.out, "statorbook %s (%s)\n", version(), goVersion)
		return err
	},
}

// version is the commit that the program was built from, as far as the build tells.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return s.Value[:12]
		}
	}
	if info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

var healthCommand = command{
	name: "health", summary: "ask a running server whether it is ready (for containers)",
	help: "Asks /readyz at STATORBOOK_ADDR; exit code 0 when it is ready, 1 when not.",
	run: func(ctx context.Context, c console, cfg config, args []string) error {
		if err := noArguments(c, args); err != nil {
			return err
		}
		host, port, err := net.SplitHostPort(cfg.addr)
		if err != nil {
			return err
		}
		if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
			host = "127.0.0.1"
		}
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/readyz", nil)
		if err != nil {
			return err
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			return err
		}
		defer func() { _ = res.Body.Close() }()
		if res.StatusCode != http.StatusOK {
			return fmt.Errorf("not ready: %s", res.Status)
		}
		return nil
	},
}
