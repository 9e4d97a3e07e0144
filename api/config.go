package main

import (
	"errors"
	"fmt"
	"net"
)

// config holds the settings, all from the environment; each has a default that works.
type config struct {
	databaseURL      string // the app's role; may be a transaction-mode pooler
	databaseOwnerURL string // migrations; direct
	addr             string // host:port to listen on; port 0 takes a free one
	dataDir          string // where the private Postgres and the signing keys live; "" = the user's state folder
	pgBin            string // folder of Postgres server programs; "" = search
}

const defaultAddr = "127.0.0.1:8080"

const environmentHelp = `environment:
  DATABASE_URL         use this Postgres (the app's role) instead of a private one
  DATABASE_OWNER_URL   the owner's role for migrations; without it DATABASE_URL migrates too
  STATORBOOK_ADDR      host:port to listen on (default 127.0.0.1:8080; port 0 takes a free one)
  STATORBOOK_DATA_DIR  where the private Postgres and the signing keys live (default: the user's state folder)
  STATORBOOK_PG_BIN    folder of the Postgres server programs (default: search)`

// loadConfig reads the settings and refuses the ones that cannot work, all of them together.
func loadConfig(getenv func(string) string) (config, error) {
	cfg := config{
		databaseURL:      getenv("DATABASE_URL"),
		databaseOwnerURL: getenv("DATABASE_OWNER_URL"),
		addr:             getenv("STATORBOOK_ADDR"),
		dataDir:          getenv("STATORBOOK_DATA_DIR"),
		pgBin:            getenv("STATORBOOK_PG_BIN"),
	}
	if cfg.addr == "" {
		cfg.addr = defaultAddr
	}
	var wrong []error
	if _, _, err := net.SplitHostPort(cfg.addr); err != nil {
		wrong = append(wrong, fmt.Errorf("STATORBOOK_ADDR must be host:port, such as %s, not %q", defaultAddr, cfg.addr))
	}
	if cfg.databaseOwnerURL != "" && cfg.databaseURL == "" {
		wrong = append(wrong, errors.New("DATABASE_OWNER_URL is set without DATABASE_URL: set the app's role too, or neither"))
	}
	return cfg, errors.Join(wrong...)
}
