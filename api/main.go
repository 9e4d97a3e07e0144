// Command api is statorbook: it serves the winding-data API from a Postgres that it finds, starts
// or fetches itself, and holds the subcommands that look after the data.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], console{out: os.Stdout, err: os.Stderr, in: os.Stdin, getenv: os.Getenv})
	stop()
	os.Exit(code)
}
