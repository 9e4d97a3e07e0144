package match

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// outcome is one answered query.
type outcome struct {
	kind                  string
	coreRank, recordRank  int // 1 = first, 0 = not listed
	pTruth                float64
	top, topCore          float64
	noneCore, noneWinding float64
	right                 [3]bool
	p1                    float64
	turnsErr, areaErr     float64 // of the overall median
	firstErr              float64 // turns of the first proposal
	coverTurns, coverArea bool
}

// scores is the table of numbers demanded of a matcher.
type scores struct{ all []outcome }

func (s *scores) pick(keep func(o *outcome) bool) []outcome {
	var out []outcome
	for i := range s.all {
		if keep(&s.all[i]) {
			out = append(out, s.all[i])
		}
	}
	return out
}

func share(o []outcome, f func(o *outcome) bool) float64 {
	n := 0
	for i := range o {
		if f(&o[i]) {
			n++
		}
	}
	return 100 * float64(n) / math.Max(float64(len(o)), 1)
}

func mean(o []outcome, f func(o *outcome) float64) float64 {
	sum := 0.0
	for i := range o {
		sum += f(&o[i])
	}
	return sum / math.Max(float64(len(o)), 1)
}

func quantile(o []outcome, q float64, f func(o *outcome) float64) float64 {
	v := make([]float64, len(o))
	for i := range o {
		v[i] = f(&o[i])
	}
	slices.Sort(v)
	if len(v) == 0 {
		return math.NaN()
	}
	return v[min(int(q*float64(len(v))), len(v)-1)]
}

// ece is the expected calibration error over ten bins of equal width.
func ece(o []outcome, p func(o *outcome) float64, hit func(o *outcome) bool) float64 {
	var n, sp, sh [10]float64
	for i := range o {
		v := p(&o[i])
		b := min(int(v*10), 9)
		n[b]++
		sp[b] += v
		if hit(&o[i]) {
			sh[b]++
		}
	}
	e := 0.0
	for b := range n {
		if n[b] > 0 {
			e += math.Abs(sp[b]-sh[b]) / float64(len(o))
		}
	}
	return e
}

// auc is the chance that a positive scores above a negative.
func auc(o []outcome, score func(o *outcome) float64, positive func(o *outcome) bool) float64 {
	type sv struct {
		v   float64
		pos bool
	}
	v := make([]sv, len(o))
	for i := range o {
		v[i] = sv{score(&o[i]), positive(&o[i])}
	}
	slices.SortFunc(v, func(a, b sv) int {
		switch {
		case a.v < b.v:
			return -1
		case a.v > b.v:
			return 1
		}
		return 0
	})
	rank, pos, neg := 0.0, 0.0, 0.0
	for i := 0; i < len(v); {
		j := i
		for j < len(v) && v[j].v == v[i].v {
			j++
		}
		for k := i; k < j; k++ {
			if v[k].pos {
				rank += float64(i+j+1) / 2
				pos++
			} else {
				neg++
			}
		}
		i = j
	}
	return (rank - pos*(pos+1)/2) / (pos * neg)
}

func inCatalogue(o *outcome) bool { return o.kind == "record" || o.kind == "new_winding" }
func isRecord(o *outcome) bool    { return o.kind == "record" }
func coverage(o []outcome) string {
	return fmt.Sprintf("turns %.1f area %.1f", share(o, func(o *outcome) bool { return o.coverTurns }), share(o, func(o *outcome) bool { return o.coverArea }))
}
func hit1(o *outcome) bool { return o.right[0] }
func hit3(o *outcome) bool { return o.right[0] || o.right[1] || o.right[2] }

// table prints the numbers demanded, and one line for each kind of truth.
func (s *scores) table() string {
	var b strings.Builder
	core, rec := s.pick(inCatalogue), s.pick(isRecord)
	out := s.pick(func(o *outcome) bool { return !inCatalogue(o) })
	fmt.Fprintf(&b, "core top-1 %.1f top-3 %.1f | record top-1 %.1f top-3 %.1f\n", share(core, func(o *outcome) bool { return o.coreRank == 1 }), share(core, func(o *outcome) bool { return o.coreRank >= 1 && o.coreRank <= 3 }),
		share(rec, func(o *outcome) bool { return o.recordRank == 1 }), share(rec, func(o *outcome) bool { return o.recordRank >= 1 && o.recordRank <= 3 }))
	fmt.Fprintf(&b, "log loss %.4f | AUC core %.4f record %.4f | ECE record %.4f core %.4f proposal %.4f | Brier %.4f\n", s.logLoss(), s.aucCore(), s.aucRecord(), s.eceRecord(), s.eceCore(), s.eceProposal(),
		mean(s.all, func(o *outcome) float64 {
			hit := 0.0
			if o.recordRank == 1 {
				hit = 1
			}
			return sq(o.top - hit)
		}))
	fmt.Fprintf(&b, "proposal 1 right %.1f, one of three %.1f | not in catalogue: one of three %.1f, turns P90 %.3f (first proposal %.3f)\n", share(s.all, hit1), share(s.all, hit3), share(out, hit3), quantile(out, 0.9, func(o *outcome) float64 { return o.turnsErr }), quantile(out, 0.9, func(o *outcome) float64 { return o.firstErr }))
	low := s.pick(func(o *outcome) bool { return 1-o.noneWinding < 0.5 })
	fmt.Fprintf(&b, "90 %% cover: all %s | P(record) < .5 (n %d) %s\n", coverage(s.all), len(low), coverage(low))
	for _, k := range []string{"record", "new_winding", "new_stack", "new_family"} {
		o := s.pick(func(o *outcome) bool { return o.kind == k })
		fmt.Fprintf(&b, "  %-12s n %4d core1 %5.1f rec1 %5.1f | turns P50 %.3f P90 %.3f | d %.3f %.3f | proposal %5.1f of 3 %5.1f | cover %s | logloss %.3f\n", k, len(o), share(o, func(o *outcome) bool { return o.coreRank == 1 }), share(o, func(o *outcome) bool { return o.recordRank == 1 }),
			quantile(o, 0.5, func(o *outcome) float64 { return o.turnsErr }), quantile(o, 0.9, func(o *outcome) float64 { return o.turnsErr }), quantile(o, 0.5, func(o *outcome) float64 { return o.areaErr }), quantile(o, 0.9, func(o *outcome) float64 { return o.areaErr }),
			share(o, hit1), share(o, hit3), coverage(o), -mean(o, func(o *outcome) float64 { return math.Log(math.Max(o.pTruth, 1e-9)) }))
	}
	return b.String()
}

func (s *scores) logLoss() float64 {
	return -mean(s.all, func(o *outcome) float64 { return math.Log(math.Max(o.pTruth, 1e-9)) })
}
func (s *scores) aucCore() float64 {
	return auc(s.all, func(o *outcome) float64 { return o.noneCore }, func(o *outcome) bool { return !inCatalogue(o) })
}
func (s *scores) aucRecord() float64 {
	return auc(s.all, func(o *outcome) float64 { return o.noneWinding }, func(o *outcome) bool { return !isRecord(o) })
}
func (s *scores) eceRecord() float64 {
	return ece(s.all, func(o *outcome) float64 { return o.top }, func(o *outcome) bool { return o.recordRank == 1 })
}
func (s *scores) eceCore() float64 {
	return ece(s.all, func(o *outcome) float64 { return o.topCore }, func(o *outcome) bool { return o.coreRank == 1 })
}
func (s *scores) eceProposal() float64 {
	return ece(s.all, func(o *outcome) float64 { return o.p1 }, hit1)
}

// gaugeIndex is the number of the Imperial gauge nearest in diameter to a conductor area.
func gaugeIndex(area float64) float64 {
	d := math.Sqrt(area * 4 / math.Pi)
	best, off := 0, math.Inf(1)
	for i, s := range testWires().Sizes("swg") {
		if o := math.Abs(float64(s.Diameter) - d); o < off {
			best, off = i, o
		}
	}
	return float64(best)
}

// score asks one query and scores the answer.
func score(x *Index, j *jquery) (outcome, error) {
	q := j.domain()
	q.Limit = maxLimit // so that the log loss sees the truth wherever it stands
	a, err := x.Match(q)
	if err != nil {
		return outcome{}, err
	}
	return scoreAnswer(&a, j), nil
}

// scoreAnswer compares an answer with the truth.
func scoreAnswer(a *Answer, j *jquery) outcome {
	o := outcome{kind: j.Truth.Kind}
	o.noneCore, o.noneWinding = a.None.Core, a.None.Winding
	if o.kind != "record" {
		o.pTruth = a.None.Winding
	}
	for i, c := range a.Candidates {
		if i == 0 {
			o.top = c.Probability
		}
		if c.WindingID == j.Truth.WindingID && o.kind == "record" {
			o.recordRank, o.pTruth = i+1, c.Probability
		}
	}
	for i, c := range a.Cores {
		if i == 0 {
			o.topCore = c.Probability
		}
		if c.CoreID == j.Truth.CoreID && inCatalogue(&o) {
			o.coreRank = i + 1
		}
	}
	o.turnsErr, o.areaErr, o.firstErr = 9, 9, 9
	for i, p := range a.Proposals {
		set := p.CoilSets[0]
		t := math.Abs(set.SeriesTurns.P50/j.Truth.Turns - 1)
		o.right[i] = t <= 0.05 && math.Abs(gaugeIndex(set.ConductorArea.P50)-gaugeIndex(j.Truth.Area)) <= 1
		if i == 0 {
			o.p1 = p.Probability
			o.firstErr = t
		}
	}
	for _, r := range a.Overall {
		if r.Role == "main" || r.Role == "phase_u" {
			o.turnsErr = math.Abs(r.SeriesTurns.P50/j.Truth.Turns - 1)
			o.areaErr = math.Abs(math.Sqrt(r.ConductorArea.P50/j.Truth.Area) - 1)
			const hair = 1e-6
			o.coverTurns = o.coverTurns || r.SeriesTurns.P05 <= j.Truth.Turns*(1+hair) && j.Truth.Turns <= r.SeriesTurns.P95*(1+hair)
			o.coverArea = o.coverArea || r.ConductorArea.P05 <= j.Truth.Area && j.Truth.Area <= r.ConductorArea.P95
		}
	}
	return o
}
