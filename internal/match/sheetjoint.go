package match

import "math"

// The residuals of a sheet's checks go together: the ends of one maker's coils are long in both windings, a
// stack read short is short for both, a thick wire fills the slot and eases the load. What the catalogue
// shows of that is learned as one table of correlations for each shape of coils. The order is that in
// which a sheet is read: what is surest first.
var jointOrder = [...]struct{ set, check int }{
	{0, chkArea}, {1, chkArea}, {0, chkLength}, {1, chkLength}, {0, chkDensity}, {0, chkTeeth}, {0, chkIron}, {0, chkFill}, {1, chkFill},
	{0, chkCurrent}, {0, chkLoad}, {0, chkPower},
}

// nJoint is the number of residuals: those of jointOrder and the comparisons of both sets.
const nJoint = len(jointOrder) + nPair

// jointModel is a table of correlations, positive definite, of which it keeps what is below the diagonal.
type jointModel [nJoint * (nJoint - 1) / 2]float32

// below is the place of the correlation of residuals a > b.
func below(a, b int) int { return a*(a-1)/2 + b }

// residuals are what a sheet's checks leave, in the order of jointModel; NaN where it does not tell.
// own is the spread that the sheet's own weighing adds: of its mass, by the way that it was weighed.
type residuals struct {
	r, sd [nJoint]float64
	own   [nJoint]float64
}

// How far correlations are trusted (common practice, no source).
const (
	jointHold  = 40.0 // how many records no correlation is worth
	jointMost  = 0.9  // no correlation is trusted beyond
	jointReach = 4.0  // sd within which a residual counts, and beyond which it tells nothing of the others
)

// learnJoint counts the correlations of the sample.
func (m *sheetModel) learnJoint(sample []*sheetRow) {
	var sum, n [nShape][nJoint][nJoint]float64
	for _, row := range sample {
		var e residuals
		m.rowResiduals(row, &e)
		shape := row.sets[0].shape
		for a := range e.r {
			za := e.r[a] / math.Hypot(e.sd[a], e.own[a])
			if !(math.Abs(za) < jointReach) {
				continue
			}
			for b := range a + 1 {
				if zb := e.r[b] / math.Hypot(e.sd[b], e.own[b]); math.Abs(zb) < jointReach {
					sum[shape][a][b] += za * zb
					n[shape][a][b]++
				}
			}
		}
	}
	for shape := range m.joint {
		m.joint[shape] = correlations(&sum[shape], &n[shape])
	}
}

// correlations shrinks sums of products of n pairs towards none, until the table is positive definite.
func correlations(sum, n *[nJoint][nJoint]float64) (out jointModel) {
	for a := range n {
		for b := range a {
			if n[a][b] == 0 {
				continue
			}
			// A check that scatters less than its spread says, because that was widened, shows less of what it has in common.
			scale := math.Sqrt(max(sum[a][a]/n[a][a], 1) * max(sum[b][b]/n[b][b], 1))
			rho := sum[a][b] / scale / (n[a][b] + jointHold)
			out[below(a, b)] = float32(max(-jointMost, min(jointMost, rho)))
		}
	}
	for range 40 { // then no row adds up to 1, and any table of that kind is positive definite
		if out.definite(jointRoom) {
			return out
		}
		for i := range out {
			out[i] *= 0.9
		}
	}
	return out
}

// jointRoom is the share of its variance that any residual keeps, given the others (common practice, no source).
const jointRoom = 0.05

// definite tells whether the table is positive definite with room taken off its diagonal.
func (t *jointModel) definite(room float64) bool {
	var flat [nJoint * nJoint]float64
	var v [nJoint]float64
	for a := range nJoint {
		for b := range a {
			flat[a*nJoint+b] = float64(t[below(a, b)])
		}
		flat[a*nJoint+a] = 1 - room
	}
	return cholesky(flat[:], v[:], nJoint)
}

// rowResiduals are those of a record of the sample.
func (m *sheetModel) rowResiduals(row *sheetRow, e *residuals) {
	*e = noResiduals
	for j, o := range jointOrder {
		if o.set >= int(row.n) {
			continue
		}
		s := &row.sets[o.set]
		fits := &m.chk[s.shape][o.set]
		x := s.features(o.check, &row.x)
		e.put(j, s.v[o.check]-fits[o.check].at(x[:]), fits[o.check].sd, m.own(int(s.shape), o.set, o.check, s.extra[o.check], s.ends[endGuess], s.lone))
	}
	for c := range row.pair {
		e.put(len(jointOrder)+c, row.pair[c]-m.pair[c].at(row.x[:]), m.pair[c].sd, 0)
	}
}

var noResiduals = func() (e residuals) {
	for j := range e.r {
		e.r[j] = math.NaN()
	}
	return e
}()

func (e *residuals) put(j int, r, sd, own float64) {
	if math.IsInf(r, 0) {
		r = math.NaN()
	}
	e.r[j], e.sd[j], e.own[j] = r, sd, own
}

// log is the logarithm of the density of all residuals together: each, in turn, by what those before it let
// expect. One far outside counts as a wild one, and tells nothing of those after it.
func (t *jointModel) log(e *residuals) float64 {
	var at [nJoint]int
	var mean [nJoint]float64
	var cov [nJoint][nJoint]float64
	n := 0
	for j := range e.r {
		if !math.IsNaN(e.r[j]) {
			at[n] = j
			n++
		}
	}
	for a := range n {
		j := at[a]
		for b := range a {
			cov[a][b] = float64(t[below(j, at[b])]) * e.sd[j] * e.sd[at[b]]
		}
		cov[a][a] = sq(e.sd[j]) + sq(e.own[j])
	}
	l := 0.0
	for a := range n {
		sd := math.Sqrt(cov[a][a])
		z := (e.r[at[a]] - mean[a]) / sd
		l += chkLog(z, sd, jointWild(at[a]))
		if math.Abs(z) > jointReach {
			continue
		}
		for b := a + 1; b < n; b++ {
			k := cov[b][a] / cov[a][a]
			if k == 0 {
				continue
			}
			mean[b] += k * z * sd
			for c := a + 1; c <= b; c++ {
				cov[b][c] -= k * cov[c][a]
			}
		}
	}
	return l
}

func jointWild(j int) float64 {
	if j < len(jointOrder) {
		return chkWild[jointOrder[j].check]
	}
	return pairWild
}
