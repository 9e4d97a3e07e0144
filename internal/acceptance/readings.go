package acceptance

import (
	"fmt"
	"math"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// need reports a missing field; it returns whether the field is there.
func (j *judge) need(ok bool, name, detail string) bool {
	if !ok {
		j.fields = append(j.fields, errs.Field{Pointer: j.at + "/" + name, Code: "MISSING", Detail: detail})
	}
	return ok
}

// list checks a list of readings: how many, and each finite and not below 0. Meters do show zero.
func (j *judge) list(name string, values []unit.Measured, low, high int) bool {
	if !j.need(len(values) >= low && len(values) <= high, name, needs(name, low, high)) {
		return false
	}
	for i, v := range values {
		if !(v.Value >= 0) || math.IsInf(v.Value, 0) {
			j.outOfRange(name, i, "must not be below 0", v.Value)
		}
	}
	return len(j.fields) == 0
}

// positive is list for readings that are divided by, or that zero says nothing of.
func (j *judge) positive(name string, values []unit.Measured, low, high int) bool {
	if !j.list(name, values, low, high) {
		return false
	}
	for i, v := range values {
		if v.Value == 0 {
			j.outOfRange(name, i, "must be above 0", 0)
		}
	}
	return len(j.fields) == 0
}

func (j *judge) outOfRange(name string, i int, detail string, got float64) {
	j.fields = append(j.fields, errs.Field{Pointer: fmt.Sprintf("%s/%s/%d", j.at, name, i), Code: "OUT_OF_RANGE", Detail: detail, Got: fmt.Sprint(got)})
}

// needs says how many values a test needs.
func needs(name string, low, high int) string {
	switch {
	case high == 1:
		return "this test needs one value in " + name
	case low == high:
		return fmt.Sprintf("this test needs %d values in %s", low, name)
	}
	return fmt.Sprintf("this test needs %d to %d values in %s", low, high, name)
}
