package httpapi

import (
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// health is the body of /livez and /readyz.
type health struct {
	Status string `json:"status"` // ok
}

// live says that the process runs and answers; it asks nobody else.
func (s *server) live(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	return sendJSON(c, health{"ok"})
}

// ready says whether questions can be answered: tables loaded, database reachable, migrations done.
func (s *server) ready(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	if err := s.Ready(); err != nil {
		// The reason may name hosts or roles, so it goes to the log only.
		return errs.Wrap(errs.KindUnavailable, "The service is not ready: it is migrating, loading, or cannot reach its database.", err)
	}
	if _, err := s.snapshot(); err != nil {
		return err
	}
	return sendJSON(c, health{"ok"})
}

// openAPI gives the contract.
func (s *server) openAPI(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	return sendDocument(c, contract)
}
