package match

import (
	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// sheetSample keeps the facts of evenly spaced records, from which the record check learns.
type sheetSample struct {
	list         []sheetFacts
	step, passed int
}

// sheetMost bounds the sample; when it is full every second is dropped.
const sheetMost = 8000

func (s *sheetSample) add(e *RecordEntry, core *stator.Core, t *wire.Table) {
	s.step = max(s.step, 1)
	s.passed++
	if s.passed%s.step != 0 {
		return
	}
	c := *core
	f, ok := factsOf(&winding.Sheet{Core: c, Nameplate: e.Nameplate, Scheme: e.Scheme}, t)
	if !ok {
		return
	}
	s.list = append(s.list, f)
	if len(s.list) >= sheetMost {
		n := 0
		for i := 1; i < len(s.list); i += 2 {
			s.list[n] = s.list[i]
			n++
		}
		clear(s.list[n:])
		s.list = s.list[:n]
		s.step *= 2
	}
}
