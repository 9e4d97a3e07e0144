package match

import (
	"fmt"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/winding"
)

// shadedPole is the one kind of motor that is recorded and not matched: its poles are salient, so slots, throws
// and teeth mean something else there.
const shadedPole = "shaded_pole"

// shadedPoleAsked is the finding of a question about such a motor.
var shadedPoleAsked = errs.Finding{
	Code: "outside_service_range", Severity: errs.SeverityWarning, Fields: []string{"motor_type"},
	Message: "a shaded-pole motor has salient poles: such motors are recorded, not matched; no stator is named and no winding proposed",
}

// thermalClasses are the letters of IEC 60085 and the temperatures in °C that stand for them on some plates.
var thermalClasses = map[string]string{
	"Y": "90", "A": "105", "E": "120", "B": "130", "F": "155", "H": "180", "N": "200", "R": "220", "250": "250",
}

// classWord brings an insulation class to its letter as it is stamped in several ways ("F", "f", "class F", "Cl. F",
// "155", "155 °C"); "" for a text that names none, which then says nothing either way.
func classWord(text string) string {
	word := strings.ToUpper(strings.TrimSpace(text))
	for _, before := range []string{"INSULATION", "INS.", "INS", "CLASS", "CL.", "CL"} {
		word = strings.TrimSpace(strings.TrimPrefix(word, before))
	}
	word = strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(word, "C"), "°"))
	for letter, celsius := range thermalClasses {
		if word == letter || word == celsius {
			return letter
		}
	}
	return ""
}

// unreadClass is the finding of a plate whose insulation class is none; false without one, or with a good one.
func unreadClass(n *winding.Nameplate) (errs.Finding, bool) {
	if n == nil || strings.TrimSpace(n.InsulationClass) == "" || classWord(n.InsulationClass) != "" {
		return errs.Finding{}, false
	}
	return errs.Finding{
		Code: "class_unknown", Severity: errs.SeverityNote, Fields: []string{"nameplate.insulation_class"},
		Message: fmt.Sprintf("%q is no thermal class of IEC 60085 (Y, A, E, B, F, H, N, R, 250, or the temperature of one); it was not weighed", n.InsulationClass),
	}, true
}
