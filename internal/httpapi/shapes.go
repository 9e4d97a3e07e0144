package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// viewFindings gives a list that is never null, each message a sentence.
func viewFindings(list []errs.Finding) []bundle.Finding {
	out := bundle.FindingsOf(list)
	for i := range out {
		out[i].Message = sentence(out[i].Message)
	}
	return out
}

// estimateView is a figure with its standard uncertainty (one standard deviation).
type estimateView struct {
	Value       float64 `json:"value"`
	Uncertainty float64 `json:"uncertainty"`
}

func viewEstimate(e wire.Estimate) estimateView {
	return estimateView{sixDigits(e.Value), sixDigits(e.Uncertainty)}
}

// each maps a list; the result is never nil, so that JSON shows [] and not null.
func each[A, B any](list []A, f func(A) B) []B {
	out := make([]B, len(list))
	for i, a := range list {
		out[i] = f(a)
	}
	return out
}

func filled[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// assumedView is a value that was not given and had to be assumed.
type assumedView struct {
	Field string `json:"field"`
	Value any    `json:"value"`
	Why   string `json:"why"`
}

func viewAssumed(list []winding.Assumption) []assumedView {
	return each(list, func(a winding.Assumption) assumedView { return assumedView{a.Field, a.Value, sentence(a.Why)} })
}

// cautionView is a fixed safety text.
type cautionView struct {
	ID       string                  `json:"id"`
	Severity winding.CautionSeverity `json:"severity"`
	Text     string                  `json:"text"`
}

func viewCautions(list []winding.Caution) []cautionView {
	return each(list, func(c winding.Caution) cautionView { return cautionView(c) })
}

// fillView is the share of a slot area that is used. Circle and square are absent without an overall diameter.
type fillView struct {
	Copper float64 `json:"copper"`
	Circle float64 `json:"circle,omitzero"`
	Square float64 `json:"square,omitzero"`
}

func viewFill(f winding.Fill) fillView {
	return fillView{sixDigits(f.Copper), sixDigits(f.Circle), sixDigits(f.Square)}
}

// densitiesView holds the peak flux densities. What the core does not tell is absent.
type densitiesView struct {
	Gap      float64     `json:"gap_t,omitzero"`
	Teeth    []toothView `json:"teeth"`
	BackIron float64     `json:"back_iron_t,omitzero"`
}

type toothView struct {
	Ring winding.RingName `json:"ring"`
	Part string           `json:"part"`
	T    float64          `json:"t"`
}

func viewDensities(d *winding.Densities) *densitiesView {
	if d == nil {
		return nil
	}
	return &densitiesView{
		Gap: sixDigits(d.Gap), BackIron: sixDigits(d.BackIron),
		Teeth: each(d.Teeth, func(t winding.ToothDensity) toothView { return toothView{t.Ring, t.Part, sixDigits(t.T)} }),
	}
}

// optional rounds a figure that may be nil.
func optional[F ~float64](v *F) *float64 {
	if v == nil {
		return nil
	}
	f := sixDigits(*v)
	return &f
}
