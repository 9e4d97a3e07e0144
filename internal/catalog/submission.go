package catalog

import "statorbook/internal/errs"

// CodeRequired marks what a record must say before it is handed in.
const CodeRequired = "REQUIRED"

// ReadyWinding is nil when a winding record says enough to be handed in for vetting; a draft may
// lack anything. KindImpossible names everything that is missing.
func ReadyWinding(w Winding) error {
	var missing []errs.Field
	need := func(given bool, pointer, detail string) {
		if !given {
			missing = append(missing, errs.Field{Pointer: pointer, Code: CodeRequired, Detail: detail})
		}
	}
	need(w.MotorType != "", "/motor_type", "name the kind of motor, unknown if it cannot be told")
	need(w.Origin != "", "/origin", "say whether this is the factory winding, a rewind, or unknown")
	need(w.FamilyID != "" || w.CoreAsMeasured != nil && w.CoreAsMeasured.Slots > 0, "/core_as_measured", "name the family and core, or give the core as measured, with its slots")
	need(w.Scheme.Poles > 0, "/scheme/poles", "count the poles")
	need(len(w.Scheme.CoilSets) > 0, "/scheme/coil_sets", "give at least one set of coils")
	needOrigin(need, w.Provenance)
	return ready(missing)
}

// ReadyFamily does for a family what ReadyWinding does for a winding record.
func ReadyFamily(f Family) error {
	var missing []errs.Field
	need := func(given bool, pointer, detail string) {
		if !given {
			missing = append(missing, errs.Field{Pointer: pointer, Code: CodeRequired, Detail: detail})
		}
	}
	need(f.Title != "", "/title", "give the family a title by which a technician knows it")
	need(f.Application != "", "/application", "say what the motor drives, general if it cannot be told")
	need(f.Core.Slots > 0, "/core/slots", "count the slots")
	need(f.Core.RotorPosition != "", "/core/rotor_position", "say whether the rotor turns inside or outside")
	need(f.Core.GapDiameter.Given, "/core/gap_diameter_mm", "measure the diameter at the air gap")
	need(len(f.Cores) > 0, "/cores", "list at least one stack")
	needOrigin(need, f.Provenance)
	return ready(missing)
}

func needOrigin(need func(bool, string, string), p Provenance) {
	need(p.Source != "", "/source", "say where the figures come from, for instance measured on the bench")
	need(p.Licence != "", "/licence", "name the licence under which others may use the record")
}

func ready(missing []errs.Field) error {
	if len(missing) == 0 {
		return nil
	}
	return errs.New(errs.KindImpossible, "The record does not say enough to be handed in.", missing...)
}
