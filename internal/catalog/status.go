package catalog

// StatusOf says how far a record can be trusted (contract rules 5 and 7). It is the one place that
// decides so. demo records say so before anything else but a withdrawal; what was imported is foreign,
// with a vetting proof or without; what no second person has looked at is not verified.
func StatusOf(state State, demo, imported bool) Status {
	switch {
	case state == Withdrawn:
		return StatusWithdrawn
	case demo:
		return StatusDemo
	case imported:
		return StatusForeign
	case state == Vetted || state == Published || state == Superseded:
		return StatusVetted
	}
	return StatusNotVerified
}
