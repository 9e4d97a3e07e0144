// Package migrations embeds the schema of the database as numbered goose files.
//
// A file is never changed once it has been released; a new one is added. Each file runs in one
// transaction, so that a process killed in the middle leaves nothing half done.
package migrations

import "embed"

// FS holds the migration files, NNNNN_subject.sql, in its root.
//
//go:embed *.sql
var FS embed.FS

// AppGrants is SQL that grants the rights of the serving role. The word statorbook_app in it
// stands for the name of the role.
//
//go:embed grants/app.sql
var AppGrants string
