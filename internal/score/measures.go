package score

import "math"

// Outcomes are the outcomes of all queries of a world.
type Outcomes []Outcome

// Pick gives the outcomes that keep keeps.
func (s Outcomes) Pick(keep func(*Outcome) bool) Outcomes {
	var out Outcomes
	for i := range s {
		if keep(&s[i]) {
			out = append(out, s[i])
		}
	}
	return out
}

// Of gives the outcomes of some kinds of truth.
func (s Outcomes) Of(kinds ...Kind) Outcomes {
	return s.Pick(func(o *Outcome) bool {
		for _, k := range kinds {
			if o.Kind == k {
				return true
			}
		}
		return false
	})
}

// unlikely gives the outcomes of answers that doubt that the record is catalogued.
func (s Outcomes) unlikely() Outcomes {
	return s.Pick(func(o *Outcome) bool { return 1-o.NoRecord < 0.5 })
}

func (s Outcomes) each(f func(*Outcome) float64) []float64 {
	out := make([]float64, len(s))
	for i := range s {
		out[i] = f(&s[i])
	}
	return out
}

// RecordForecasts are the probabilities of the first record named, and whether it was the one.
func (s Outcomes) RecordForecasts() []Forecast {
	return s.forecasts(func(o *Outcome) Forecast { return Forecast{o.TopRecord, o.RecordRank == 1} })
}

// CoreForecasts likewise for the first core named.
func (s Outcomes) CoreForecasts() []Forecast {
	return s.forecasts(func(o *Outcome) Forecast { return Forecast{o.TopCore, o.CoreRank == 1} })
}

// GuessForecasts likewise for the first winding proposed.
func (s Outcomes) GuessForecasts() []Forecast {
	return s.forecasts(func(o *Outcome) Forecast { return Forecast{o.First, o.Right[0]} })
}

func (s Outcomes) forecasts(f func(*Outcome) Forecast) []Forecast {
	out := make([]Forecast, len(s))
	for i := range s {
		out[i] = f(&s[i])
	}
	return out
}

// Result is everything that one matcher reached on a world.
type Result struct {
	Outcomes Outcomes
	Slips    *Slips // nil if no record sheets were checked
}

// Value is a measured number with its standard error (0 = not known) and how many cases it rests on.
// It is NaN where there was no case.
type Value struct {
	V, SE float64
	N     int
}

// Band is what a value must lie in, ends included; an open end is infinite.
type Band struct{ Low, High float64 }

// Holds tells whether a value lies in the band. One that could not be measured does not.
func (b Band) Holds(v Value) bool { return v.V >= b.Low && v.V <= b.High }

func atLeast(v float64) Band { return Band{v, math.Inf(1)} }
func atMost(v float64) Band  { return Band{math.Inf(-1), v} }

// Measure is one number that is demanded of a matcher.
type Measure struct {
	Key, Name string
	Decimals  int
	From      func(*Result) Value    // measures it
	Floor     Band                   // demanded of a world of 2,000 records, 1,500 queries and 4,000 record sheets
	Beside    func(ref float64) Band // demanded beside the best that is known on the same world; nil = nothing
}

func less(d float64) func(float64) Band  { return func(ref float64) Band { return atLeast(ref - d) } }
func times(k float64) func(float64) Band { return func(ref float64) Band { return atMost(ref * k) } }

// measures are the demanded numbers. Shares are in per cent.
var measures = []Measure{
	{"core_top1", "core named first, where it is catalogued, %", 1, coreWithin(1), atLeast(96), less(1)},
	{"core_top3", "core among the first three, %", 1, coreWithin(3), atLeast(99), less(0.7)},
	{"record_top1", "record named first, where it is catalogued, %", 1, recordWithin(1), atLeast(90), less(1.5)},
	{"record_top3", "record among the first three, %", 1, recordWithin(3), atLeast(98), less(1)},
	{"log_loss", "log loss (this record, or none)", 3, logLoss, atMost(0.28), times(1.12)},
	{"auc_core", "AUC of \"core not catalogued\"", 4, aucCore, atLeast(0.985), less(0.006)},
	{"auc_record", "AUC of \"record not catalogued\"", 4, aucRecord, atLeast(0.975), less(0.004)},
	{"ece_record", "calibration error, record", 3, ece(Outcomes.RecordForecasts), atMost(0.035), nil},
	{"ece_core", "calibration error, core", 3, ece(Outcomes.CoreForecasts), atMost(0.035), nil},
	{"ece_first", "calibration error, first proposal", 3, ece(Outcomes.GuessForecasts), atMost(0.045), nil},
	{"first_right", "first proposal right, %", 1, share(all, func(o *Outcome) bool { return o.Right[0] }), atLeast(75), less(2)},
	{"one_of_three", "one of three proposals right, %", 1, share(all, (*Outcome).OneOfThree), atLeast(91), less(1.5)},
	{"new_one_of_three", "core not catalogued: one of three right, %", 1, share(newCores, (*Outcome).OneOfThree), atLeast(72), less(3)},
	{"new_turns_p90", "core not catalogued: turns off by, 90 % point", 3, newTurns, atMost(0.30), times(1.15)},
	{"cover_turns", "90 % interval holds the turns, %", 1, share(all, coversTurns), Band{93, 99}, nil},
	{"cover_area", "90 % interval holds the wire area, %", 1, share(all, coversArea), Band{93, 99}, nil},
	{"cover_turns_unlikely", "the same where P(record) < 0.5: turns, %", 1, share(Outcomes.unlikely, coversTurns), Band{87, 97}, nil},
	{"cover_area_unlikely", "the same where P(record) < 0.5: area, %", 1, share(Outcomes.unlikely, coversArea), Band{87, 97}, nil},
	{"slips_1", "slips found, mean of the kinds, 1 % false alarms", 1, slips(func(s *Slips) float64 { return s.Mean1 }), atLeast(85), nil},
	{"slips_2", "slips found, mean of the kinds, 2 % false alarms", 1, slips(func(s *Slips) float64 { return s.Mean2 }), atLeast(87), nil},
}

// Measures lists the demanded numbers in the order in which tables show them.
func Measures() []Measure { return append([]Measure(nil), measures...) }

func all(s Outcomes) Outcomes        { return s }
func newCores(s Outcomes) Outcomes   { return s.Of(NewStack, NewFamily) }
func knownCores(s Outcomes) Outcomes { return s.Of(Record, NewWinding) }
func known(s Outcomes) Outcomes      { return s.Of(Record) }

func coversTurns(o *Outcome) bool { return o.CoversTurns }
func coversArea(o *Outcome) bool  { return o.CoversArea }

// share measures how many of some outcomes are hits, in per cent.
func share(of func(Outcomes) Outcomes, hit func(*Outcome) bool) func(*Result) Value {
	return func(r *Result) Value {
		s := of(r.Outcomes)
		p, se := Percent(len(s.Pick(hit)), len(s))
		return Value{p, se, len(s)}
	}
}

func coreWithin(k int) func(*Result) Value {
	return share(knownCores, func(o *Outcome) bool { return o.CoreRank >= 1 && o.CoreRank <= k })
}

func recordWithin(k int) func(*Result) Value {
	return share(known, func(o *Outcome) bool { return o.RecordRank >= 1 && o.RecordRank <= k })
}

func logLoss(r *Result) Value {
	v, se := LogLoss(r.Outcomes.each(func(o *Outcome) float64 { return o.Truth }))
	return Value{v, se, len(r.Outcomes)}
}

func aucCore(r *Result) Value {
	value := func(o *Outcome) float64 { return o.NoCore }
	return Value{AUC(newCores(r.Outcomes).each(value), knownCores(r.Outcomes).each(value)), 0, len(r.Outcomes)}
}

func aucRecord(r *Result) Value {
	value := func(o *Outcome) float64 { return o.NoRecord }
	return Value{AUC(r.Outcomes.Of(NewWinding, NewStack, NewFamily).each(value), known(r.Outcomes).each(value)), 0, len(r.Outcomes)}
}

func ece(of func(Outcomes) []Forecast) func(*Result) Value {
	return func(r *Result) Value { return Value{ECE(of(r.Outcomes)), 0, len(r.Outcomes)} }
}

func newTurns(r *Result) Value {
	s := newCores(r.Outcomes)
	return Value{Quantile(s.each(func(o *Outcome) float64 { return o.TurnsError }), 0.9), 0, len(s)}
}

func slips(mean func(*Slips) float64) func(*Result) Value {
	return func(r *Result) Value {
		if r.Slips == nil {
			return Value{V: math.NaN()}
		}
		return Value{mean(r.Slips), 0, r.Slips.Wrong}
	}
}
