package postgres

import "github.com/jackc/pgx/v5/pgxpool"

// The statements that the tests explain.
const (
	FamilyByRef  = familyByRef
	FamilyList   = familyList
	WindingByRef = windingByRef
	WindingList  = windingList
)

// Pool lets tests look at the sessions that a store has used.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }
