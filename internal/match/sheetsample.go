package match

import (
	"math"
	"math/bits"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// sheetRow is what the record check learns from one record.
type sheetRow struct {
	x       [nSheetX]float64
	sets    [2]sheetSetRow
	pair    [nPair]float64
	apart   [2][2]float64 // of the masses, of the resistances of three phases
	n       uint8
	systems uint8
}

// sheetSetRow is one coil set of it.
type sheetSetRow struct {
	v, extra [nChk]float64
	ends     [nEnds]float64
	layout   uint32
	paths    uint8
	shape    uint8
	lone     bool
}

// sheetSample keeps the sheets of a part of the records that depends on their identifiers alone: a
// record has level k if its hash ends in k zeros, and a Build learns from the lowest level whose
// records are not too many. The sample holds more than one Build needs, so that records may leave.
type sheetSample struct {
	rows    []sheetRow
	free    []uint32
	layouts interned
	count   [65]int // live records of each level
	floor   int     // records of lower levels are not kept
}

const (
	sheetMost = 8000 // records that a Build learns from at most
	sheetKeep = 2    // times that, are kept
)

// levelOf is the number of zeros at the end of a hash of an identifier (FNV-1a, 64 bits).
func levelOf(id string) int {
	h := uint64(14695981039346656037)
	for i := range len(id) {
		h = (h ^ uint64(id[i])) * 1099511628211
	}
	h ^= h >> 32
	return bits.TrailingZeros64(h * 0x9e3779b97f4a7c15 >> 8)
}

// lowest is the lowest level from which on there are not more than most records.
func (s *sheetSample) lowest(most int) int {
	n, level := 0, len(s.count)
	for level > 0 && n+s.count[level-1] <= most {
		level--
		n += s.count[level]
	}
	return level
}

// complete tells whether the sample holds what a Build needs.
func (s *sheetSample) complete() bool { return s.floor <= s.lowest(sheetMost) }

// add takes the sheet of a record in.
func (s *sheetSample) add(r *recBuild, e *RecordEntry, core *stator.Core, t *wire.Table) {
	level := levelOf(e.ID)
	r.level = uint8(level)
	s.count[level]++
	if level < s.floor {
		return
	}
	f, ok := factsOf(&winding.Sheet{MotorType: e.MotorType, Core: *core, Nameplate: e.Nameplate, Scheme: e.Scheme}, t)
	if !ok {
		return
	}
	n := uint32(len(s.rows))
	if last := len(s.free) - 1; last >= 0 {
		n, s.free = s.free[last], s.free[:last]
	} else {
		s.rows = append(s.rows, sheetRow{})
	}
	s.fill(&s.rows[n], &f)
	r.sheet = n + 1
}

// fill works out what is learned from a sheet.
func (s *sheetSample) fill(row *sheetRow, f *sheetFacts) {
	*row = sheetRow{n: uint8(f.n), systems: uint8(f.systems())}
	f.x(0, &row.x)
	f.pairs(&row.pair)
	row.apart = [2][2]float64{f.sets[0].mass.apart(), f.sets[0].ohm.apart()}
	for i := range f.n {
		set := &row.sets[i]
		f.checks(i, &set.v, &set.extra)
		set.layout = s.layouts.add([]byte(f.layoutKey(&f.sets[i])))
		set.ends = f.ends(&f.sets[i])
		set.lone = f.sets[i].lone()
		set.shape = uint8(shapeOf(f.sets[i].kind, f.phases))
		set.paths = uint8(min(max(f.sets[i].paths, 1), math.MaxUint8))
	}
}

// drop forgets the sheet of a record.
func (s *sheetSample) drop(r *recBuild) {
	s.count[r.level]--
	s.release(r)
}

func (s *sheetSample) release(r *recBuild) {
	if r.sheet > 0 {
		s.free = append(s.free, r.sheet-1)
		r.sheet = 0
	}
}

// thin lets the lower levels go when the sample has grown too large.
func (s *sheetSample) thin(recs []recBuild) {
	if len(s.rows)-len(s.free) <= sheetKeep*sheetMost {
		return
	}
	floor := s.lowest(sheetKeep * sheetMost)
	if floor <= s.floor {
		return
	}
	s.floor = floor
	for i := range recs {
		if int(recs[i].level) < floor {
			s.release(&recs[i])
		}
	}
}

// pick lists the sheets that a Build learns from, in the order of its records.
func (s *sheetSample) pick(recs []recBuild, order []uint32) []*sheetRow {
	level := s.lowest(sheetMost)
	var out []*sheetRow
	for _, n := range order {
		if r := &recs[n]; int(r.level) >= level && r.sheet > 0 {
			out = append(out, &s.rows[r.sheet-1])
		}
	}
	return out
}
