package catalog

// The closed word lists of a record. The decoder's tags hold the same words; a test compares them.
var (
	Applications = []string{"ceiling_fan", "table_fan", "exhaust_fan", "blower", "pump", "grinder", "air_cooler", "washing_machine", "compressor", "general"}
	MotorTypes   = []string{"permanent_split_capacitor", "capacitor_start", "capacitor_start_run", "split_phase", "shaded_pole", "three_phase_cage", "unknown"}
	Origins      = []string{"factory", "previously_rewound", "unknown"}
	Bindings     = []string{"thread", "tape"}
	MassStates   = []string{"bare", "enamelled", "varnished", "with_leads"}
	Joinings     = []string{"end_to_end", "start_to_start", "end_to_start"}
	Qualities    = []string{"measured", "counted", "plate", "calculated", "estimated"}
)

// Licences are the SPDX identifiers under which records can be shared here: each allows others to
// use, change and pass on the data (spdx.org/licenses; a few of the open-data licences, on purpose).
var Licences = []string{"CC0-1.0", "CC-BY-4.0", "CC-BY-SA-4.0", "ODbL-1.0", "ODC-By-1.0", "PDDL-1.0"}

// ReservedSlugs are words that stand in the place of an id in some path, so that no record may have them.
var ReservedSlugs = []string{"batch", "blank", "published", "nearest"}

// States lists every state of a revision in the order of its life.
func States() []State {
	return []State{Draft, Submitted, Vetted, Published, Superseded, Withdrawn}
}

// Statuses lists every status.
func Statuses() []Status {
	return []Status{StatusDemo, StatusVetted, StatusForeign, StatusEstimated, StatusNotVerified, StatusWithdrawn}
}
