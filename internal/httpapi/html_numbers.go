package httpapi

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/bundle"
)

// signed writes a change with its sign.
func signed(v any) string {
	text := num(v)
	if text != "0" && !strings.HasPrefix(text, "-") {
		return "+" + text
	}
	return strings.Replace(text, "-", "−", 1)
}

// apart writes by how many deviations two figures differ; beyond 99 the number says nothing more.
func apart(v float64) string {
	const most = 99
	switch {
	case v > most:
		return fmt.Sprintf("> %d", most)
	case v < -most:
		return fmt.Sprintf("< −%d", most)
	}
	return strings.Replace(strconv.FormatFloat(math.Round(10*v)/10+0, 'f', 1, 64), "-", "−", 1)
}

// num writes a figure with four significant digits, as a bench can use them. Absent figures are a dash.
func num(v any) string {
	switch n := v.(type) {
	case *float64:
		if n == nil {
			return "–"
		}
		return num(*n)
	case bundle.M:
		if !n.Given {
			return "–"
		}
		return n.Digits()
	case float64:
		if n != 0 && math.Abs(n) < 1e5 && math.Abs(n) >= 1e-4 {
			n, _ = strconv.ParseFloat(strconv.FormatFloat(n, 'g', 4, 64), 64)
			return strconv.FormatFloat(n, 'f', -1, 64)
		}
		return strconv.FormatFloat(n, 'g', 4, 64)
	}
	return fmt.Sprint(v)
}

// spread writes a range by its ends, and by one figure where they look the same.
func spread(r bundle.Range) string {
	low, high := num(r.P05), num(r.P95)
	if low == high {
		return low
	}
	return low + " – " + high
}

// turns writes a number of turns, or of anything else that is whole, with all its digits.
func turns(v float64) string { return strconv.FormatFloat(math.Round(v), 'f', -1, 64) }

// turnSpread writes a range of turns in whole turns, no narrower than it is.
func turnSpread(r bundle.Range) string {
	const hair = 1e-6 // of a figure that was computed
	low, high := turns(math.Floor(r.P05+hair)), turns(math.Ceil(r.P95-hair))
	if low == high {
		return low
	}
	return low + " – " + high
}

// rounded rounds to a step that a rule, a pair of scales or a bench can use.
func rounded(step, v float64) float64 { return math.Round(v/step) * step }

// percent writes a probability for people: never a plain 0 or 100 that nobody can know.
func percent(p float64) string {
	switch {
	case p < 0.001:
		return "< 0.1 %"
	case p < 0.01 || p > 0.99 && p <= 0.999:
		return strconv.FormatFloat(100*p, 'f', 1, 64) + " %"
	case p > 0.999:
		return "> 99.9 %"
	}
	return strconv.FormatFloat(100*p, 'f', 0, 64) + " %"
}

// likelihood names a probability by the scale of the IPCC (Guidance Note for Lead Authors of the
// Fifth Assessment Report on Consistent Treatment of Uncertainties, 2010, table 1).
func likelihood(p float64) string {
	switch {
	case p >= 0.99:
		return "virtually_certain"
	case p >= 0.90:
		return "very_likely"
	case p >= 0.66:
		return "likely"
	case p >= 0.33:
		return "even"
	case p >= 0.10:
		return "unlikely"
	case p >= 0.01:
		return "very_unlikely"
	}
	return "exceptionally_unlikely"
}

// probable tells whether something may be called the likely one, by the same scale.
func probable(p float64) bool { return p >= 0.66 }

// telling grades what a measurement is expected to tell: one bit is the answer to an open
// yes-or-no question. The steps are ours.
func telling(bits float64) string {
	switch {
	case bits >= 1:
		return "whole"
	case bits >= 0.5:
		return "much"
	case bits >= 0.1:
		return "some"
	}
	return "little"
}
