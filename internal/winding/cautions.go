package winding

// The ids of the cautions. They are stable: an id is never given another meaning.
const (
	CautionIsolate        = "isolate_and_prove_dead"
	CautionCapacitor      = "capacitor_holds_charge"
	CautionCoasting       = "coasting_rotor_generates"
	CautionLicensed       = "fixed_wiring_licensed_person"
	CautionEarth          = "keep_earth"
	CautionTestSet        = "insulation_tester_can_kill"
	CautionDischarge      = "discharge_after_dc_test"
	CautionWithstand      = "withstand_only_sound_winding"
	CautionFirstRun       = "first_run_limited"
	CautionHotRun         = "hot_run_guarded"
	CautionBurnOff        = "burn_off_fumes"
	CautionVarnish        = "varnish_vapour"
	CautionHotParts       = "oven_parts_hot"
	CautionEdges          = "sharp_edges_and_tension"
	CautionDust           = "old_dust_and_pcb"
	CautionLifting        = "lifting"
	CautionFanFall        = "fan_can_fall"
	CautionWetPump        = "wet_pump"
	CautionProposal       = "proposal_not_data"
	CautionForce          = "never_force_fill"
	CautionCapacitorFit   = "capacitor_volts_and_class"
	CautionChangedMachine = "changed_machine_protection"
	CautionProtector      = "thermal_protector_refit"
	CautionApprovals      = "approvals_and_ex"
	CautionBareStator     = "stator_without_rotor"
	CautionAutoReset      = "auto_reset_protector"
	CautionBenchSupply    = "bench_supply_rcd"
	CautionClassII        = "class_ii_appliance"
)

// The sets of cautions that go with each kind of answer, gravest first.
var (
	ProposalCautions = []string{CautionIsolate, CautionProposal, CautionBareStator, CautionFirstRun, CautionForce, CautionCapacitorFit, CautionProtector, CautionApprovals, CautionLicensed}
	ChangeCautions   = []string{CautionIsolate, CautionChangedMachine, CautionProposal, CautionFirstRun, CautionForce, CautionCapacitorFit, CautionProtector, CautionApprovals, CautionLicensed}
	TestCautions     = []string{CautionIsolate, CautionTestSet, CautionDischarge, CautionCapacitor, CautionBareStator, CautionWithstand, CautionEarth, CautionBenchSupply, CautionAutoReset, CautionFirstRun, CautionHotRun, CautionClassII, CautionLicensed}
	MaterialCautions = []string{CautionIsolate, CautionBurnOff, CautionVarnish, CautionHotParts, CautionEdges, CautionDust, CautionForce, CautionProtector}
)

// cautions holds the fixed texts: hazard, consequence, avoidance. They are in the project's own words; facts are
// common practice of the trade unless the text names a source. A danger will kill or maim if it is not avoided, a
// warning may, a caution may injure lightly, a notice is about property or the worth of the work.
var cautions = []Caution{
	{CautionIsolate, CautionDanger, "Live parts kill. Cut the motor off from the mains, lock or pull the plug or fuse, and prove it dead with a tester that has just been proved on a live point. A wall switch or a fan regulator does not isolate."},
	{CautionCapacitor, CautionDanger, "Run and start capacitors stay charged after switch-off and can stop the heart. Discharge through a resistor of a few to 20 kilo-ohms, 5 to 10 W, then short the terminals; never bridge with a tool. Do it again after a minute: the charge partly comes back."},
	{CautionCoasting, CautionWarning, "A coasting fan, or one with permanent magnets, makes voltage while it turns and can shock. Stop the rotor before touching leads."},
	{CautionLicensed, CautionWarning, "Wrong fixed wiring, earthing or reconnection shocks and burns people later. Leave it to a licensed or competent person under the local wiring rules; winding data do not replace them."},
	{CautionEarth, CautionWarning, "Without its earth a faulty motor makes the frame live. Keep the earth connection and prove its continuity, in the class of 0.1 ohm at 10 A or more, before power is applied."},
	{CautionTestSet, CautionDanger, "A 500 V insulation tester and a withstand set of kilovolts can kill. One trained person in charge, barrier and sign, nobody touching the machine, long leads, shaft guarded, a second person near where live work is done."},
	{CautionDischarge, CautionDanger, "A winding stays charged after a DC test and shocks who touches it. Earth it until the charge is gone, at least four times as long as the test lasted (common practice), before handling."},
	{CautionWithstand, CautionWarning, "A withstand test breaks a damp, dirty or weak winding, and each full-voltage test ages a good one. Measure insulation resistance first, never repeat at full voltage, and take off electronic parts and bleeder resistors."},
	{CautionFirstRun, CautionWarning, "A wrong winding burns within a minute or throws parts. First run through a lamp or fuse in series or a variable transformer, current watched, rotor free, nobody near blades; switch off at once if it hums and does not turn."},
	{CautionHotRun, CautionWarning, "A running motor on the bench catches clothing and throws a loose key or blade. Clamp it, take key or blades off or fix them, guards on, stand out of the plane of the blades."},
	{CautionBurnOff, CautionWarning, "Burning off an old winding gives poisonous fumes and spoils the core plate. Use a burn-out oven with temperature control and fume treatment, never an open flame. Old insulation may hold asbestos: stop and take advice."},
	{CautionVarnish, CautionWarning, "Varnish, thinner and solvent give vapour that burns, explodes and harms skin and lungs. Extraction, gloves, eye protection, no spark, closed cans; let parts drip dry before an oven that has exhaust and interlock."},
	{CautionHotParts, CautionCaution, "Parts from an oven at 120 to 180 degrees Celsius burn long after they look cool. Wear gloves and mark them hot; do not heat a winding by radiation from one side."},
	{CautionEdges, CautionCaution, "Lamination edges, cut copper, strapping and wire under tension cut hands and eyes. Wear gloves where they do not catch, and eye protection."},
	{CautionDust, CautionCaution, "Solder, old enamel and dust poison over time, and very old capacitors may hold PCB oil. Wash hands before eating; keep leaking capacitors apart as hazardous waste."},
	{CautionLifting, CautionWarning, "A heavy stator or rotor crushes when it slips. Use rated tackle; never lift by the winding or the shaft journal."},
	{CautionFanFall, CautionWarning, "A ceiling fan that falls can kill. Check hook, rod, split pins, safety wire and blade screws, hold the fan before the rod is undone, balance the blades, and keep the height and clearance of the local code."},
	{CautionWetPump, CautionDanger, "A faulty pump makes the water live. Keep the residual-current device, never touch the water or move the pump while it is connected, and never run it dry."},
	{CautionProposal, CautionWarning, "This is a proposal, not the maker's data; a wrong one overheats or burns. Check slots, gap diameter, stack, poles and voltage on the machine, wind a trial coil, and measure no-load current, resistance and temperature before release."},
	{CautionForce, CautionNotice, "Wire forced into a full slot loses its enamel, which shows only in service. Never raise fill by force, and never fit less metal, a lower thermal class or a thinner liner than there was."},
	{CautionCapacitorFit, CautionWarning, "A capacitor below the voltage that it bears bursts or burns, and one too large overheats the auxiliary winding. Fit none of lower voltage, lower safety class or other tolerance than the proposal or the plate says."},
	{CautionChangedMachine, CautionWarning, "Another voltage, frequency or number of poles changes load, speed and protection; a fan or pump needs power as the cube of its speed and may overload. Check load, fuse and overload setting, and mark the machine with its new data."},
	{CautionProtector, CautionWarning, "A motor without its thermal protector can set fire. Refit it in the same place with the same rating."},
	{CautionApprovals, CautionDanger, "In explosive atmospheres a rewind outside the approval can cause an explosion; damp places and rooms with children have approvals too. Keep to those of the original, and leave Ex motors to authorised shops."},
	{CautionBareStator, CautionDanger, "A stator without its rotor, or one pole alone, draws many times its current at rated volts and burns. Give each part at most its share of the volts, from a variable supply, current watched."},
	{CautionAutoReset, CautionWarning, "A protector that resets itself restarts the motor without warning. Isolate first. A thermal fuse comes out before baking, is kept cool when soldered, and is new at each rewind."},
	{CautionBenchSupply, CautionWarning, "A fault on the bench makes the frame live. Feed it through a residual-current device or an isolating transformer. A series commutator motor runs away without load."},
	{CautionClassII, CautionWarning, "A test from winding to core proves nothing about the reinforced insulation of a class II appliance. Appliance rules (IEC 60335 series and national versions) apply, not only those for machines."},
}

// StandardCautions gives the cautions of the ids in the order asked; without ids all of them. An
// unknown id is left out.
func StandardCautions(ids ...string) []Caution {
	if len(ids) == 0 {
		return append([]Caution(nil), cautions...)
	}
	out := make([]Caution, 0, len(ids))
	for _, id := range ids {
		for _, c := range cautions {
			if c.ID == id {
				out = append(out, c)
			}
		}
	}
	return out
}
