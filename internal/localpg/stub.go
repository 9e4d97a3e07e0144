//go:build !unix || aix || solaris

package localpg

import (
	"context"
	"fmt"
	"runtime"
)

// Server cannot exist on this system.
type Server struct{}

// Binaries is a folder with initdb and postgres.
type Binaries struct {
	Dir     string
	Version string
	Major   int
}

func unsupported() error {
	return fmt.Errorf("%w (%s): set DATABASE_URL to a PostgreSQL %d or newer, or run docker compose up", ErrUnsupported, runtime.GOOS, MinMajor)
}

// Start always fails on this system and says what to do instead.
func Start(context.Context, Config) (*Server, error) { return nil, unsupported() }

// FindBinaries always fails on this system.
func FindBinaries(context.Context, Config) (Binaries, error) { return Binaries{}, unsupported() }

// OwnerURL is never called: there is no Server.
func (*Server) OwnerURL() string { return "" }

// AppURL is never called: there is no Server.
func (*Server) AppURL() string { return "" }

// AdminURL is never called: there is no Server.
func (*Server) AdminURL() string { return "" }

// URL is never called: there is no Server.
func (*Server) URL(string, string) string { return "" }

// DataDir is never called: there is no Server.
func (*Server) DataDir() string { return "" }

// Done is never called: there is no Server.
func (*Server) Done() <-chan struct{} { return nil }

// Err is never called: there is no Server.
func (*Server) Err() error { return nil }

// Stop is never called: there is no Server.
func (*Server) Stop() error { return nil }

func usualPlaces() *Search { return &Search{} }
