package catalog

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// The codes of faults that the lint adds to those of the reader of JSON.
const (
	CodeLicence     = "LICENCE_NOT_ALLOWED"
	CodeWord        = "VALUE_NOT_ALLOWED"
	CodeIdentifier  = "INVALID_FORMAT"
	CodeReserved    = "RESERVED_SLUG"
	CodeFamilyStack = "STACK_IN_FAMILY"
	CodeCoreTwice   = "CORE_TWICE"
	CodeCoreAlone   = "CORE_WITHOUT_FAMILY"
	CodeImpossible  = "IMPOSSIBLE_CORE"
)

// Lint is what the checks before storing found. Faults refuse the record; Findings are stored with
// it, whatever their severity.
type Lint struct {
	Faults   []errs.Field
	Findings []errs.Finding
}

// Err is nil, or an *errs.Error of KindImpossible with every fault.
func (l Lint) Err() error {
	if len(l.Faults) == 0 {
		return nil
	}
	detail := "One thing in the record cannot be."
	if n := len(l.Faults); n > 1 {
		detail = strconv.Itoa(n) + " things in the record cannot be."
	}
	return errs.New(errs.KindImpossible, detail, l.Faults...)
}

func (l *Lint) fault(pointer, code, detail string, allowed any, got string) {
	l.Faults = append(l.Faults, errs.Field{Pointer: pointer, Code: code, Detail: detail, Allowed: allowed, Got: got})
}

// LintOptions tells what the checks may lean on.
type LintOptions struct {
	Wires  *wire.Table // nil: gauges, and what follows from them, are not judged
	Family *Family     // of a winding record, nil if not known: its dimensions fill those not measured
	// New is true for a family that is made here: an impossible core is then a fault. An imported one
	// keeps it as a finding, as does every core_as_measured (contract rule 4).
	New bool
}

// LintFamily checks a family.
func LintFamily(f Family, o LintOptions) Lint {
	var l Lint
	visitor(l.bound).family(f)
	l.identity(f.ID, f.Slug)
	l.word("/application", f.Application, Applications)
	l.provenance(f.Provenance)
	if f.Core.StackLength.Given {
		l.fault("/core/stack_length_mm", CodeFamilyStack, "the stack belongs to the cores of a family; list it under cores", nil, f.Core.StackLength.Text)
	}
	seen := map[string]bool{}
	for i, c := range f.Cores {
		at := "/cores/" + strconv.Itoa(i) + "/id"
		l.uuid(at, c.ID)
		if c.ID != "" && seen[c.ID] {
			l.fault(at, CodeCoreTwice, "each core has an id of its own", nil, c.ID)
		}
		seen[c.ID] = true
	}
	l.words("/core", f.Core)
	for _, found := range stator.Check(f.Core) {
		if o.New && found.Severity == errs.SeverityError {
			l.fault("/core"+strings.TrimPrefix(pointerOf(found), "/core"), CodeImpossible, found.Message, nil, "")
			continue
		}
		l.keep(found, "core.")
	}
	return l
}

// LintWinding checks a winding record.
func LintWinding(w Winding, o LintOptions) Lint {
	var l Lint
	visitor(l.bound).winding(w)
	l.identity(w.ID, w.Slug)
	l.uuid("/core_id", w.CoreID)
	l.uuid("/family_id", w.FamilyID)
	if w.CoreID != "" && w.FamilyID == "" {
		l.fault("/family_id", CodeCoreAlone, "a core belongs to a family; name it", nil, "")
	}
	l.word("/motor_type", w.MotorType, MotorTypes)
	l.word("/origin", w.Origin, Origins)
	l.word("/binding", w.Binding, Bindings)
	l.provenance(w.Provenance)
	l.quality(w.Quality)
	if w.CoreAsMeasured != nil {
		l.words("/core_as_measured", *w.CoreAsMeasured)
	}
	for i, set := range w.Scheme.CoilSets {
		at := "/scheme/coil_sets/" + strconv.Itoa(i)
		l.word(at+"/mass_state", set.MassState, MassStates)
		l.word(at+"/joining", set.Joining, Joinings)
		l.turns(at, set)
	}
	if len(l.Faults) == 0 { // physics of impossible figures says nothing
		l.coherence(w, o)
	}
	return l
}

// turns refuses coils without turns, on whatever core: nothing was wound there.
func (l *Lint) turns(at string, set winding.CoilSet) {
	for i, c := range set.Coils {
		if c.Turns == 0 {
			l.fault(at+"/coils/"+strconv.Itoa(i)+"/turns", "ZERO_TURNS", fmt.Sprintf("coil %d-%d has no turns: leave it out, or give its turns", c.In, c.Out), nil, "0")
		}
	}
	if set.Pattern == nil {
		return
	}
	for i, turns := range set.Pattern.Turns {
		if turns == 0 {
			l.fault(at+"/pattern/turns/"+strconv.Itoa(i), "ZERO_TURNS", "a coil of the pattern has no turns: leave its throw out, or give its turns", nil, "0")
		}
	}
}

// refusing are the findings of the coherence check that say that no winder could lay this, on
// whatever core: they are faults. Others of severity error may come from a core that was read wrong,
// or from a slip of the pen; a record keeps them, for its vetter to see.
var refusing = []string{
	"slot_out_of_range", "same_slot_twice", "throw_impossible", "coil_twice", "turns_count", "turns_out_of_range", "no_second_ring",
	"role_unknown", "roles_mixed", "kind_unknown", "too_many_coils", "conductor_unknown",
}

// unknownWire are the findings about a wire that is in no table, or could be several. They are faults,
// unless there was no table to look into.
var unknownWire = []string{
	"wire_unknown", strings.ToLower(wire.CodeUnknownSize), strings.ToLower(wire.CodeBadSize), strings.ToLower(wire.CodeAmbiguousSize),
	strings.ToLower(wire.CodeUnknownSystem), strings.ToLower(wire.CodeBadDiameter), strings.ToLower(wire.CodeBadStrands),
	strings.ToLower(wire.CodeBadConductor), strings.ToLower(wire.CodeBadBuild),
}

// coherence runs the check of the sheet against itself. Notes are left to whoever asks for a check.
func (l *Lint) coherence(w Winding, o LintOptions) {
	core := CoreOfRecord(w, o.Family)
	geometry := map[string]bool{}
	for _, f := range stator.Check(core) {
		geometry[f.Code] = true
	}
	table := o.Wires
	if table == nil {
		table, _ = wire.NewTable(nil)
	}
	sheet := winding.Sheet{Core: core, MotorType: w.MotorType, Origin: w.Origin, Nameplate: w.Nameplate, Scheme: w.Scheme}
	for _, f := range winding.Check(sheet, table).Findings {
		gauge := slices.Contains(unknownWire, f.Code)
		switch {
		case gauge && o.Wires == nil:
		case f.Severity == errs.SeverityError && !geometry[f.Code] && (gauge || slices.Contains(refusing, f.Code)):
			l.fault(pointerOf(f), strings.ToUpper(f.Code), f.Message, nil, "")
		default:
			l.keep(f, "core_as_measured.")
		}
	}
}

// keep stores a finding that is more than a note. core is how the record names its core.
func (l *Lint) keep(f errs.Finding, core string) {
	if f.Severity == errs.SeverityNote {
		return
	}
	fields := make([]string, len(f.Fields))
	for i, name := range f.Fields {
		fields[i] = name
		if rest, ok := strings.CutPrefix(name, "core."); ok {
			fields[i] = core + rest
		} else if !strings.Contains(name, ".") && core == "core." {
			fields[i] = core + name // the geometry check names the fields of the core alone
		}
	}
	f.Fields = fields
	l.Findings = append(l.Findings, f)
}

func (l *Lint) bound(name, pointer string, v float64) {
	if f := checkBound(name, pointer, v); f != nil {
		l.Faults = append(l.Faults, *f)
	}
	if strings.HasSuffix(name, ".phases") && v == 2 {
		l.fault(pointer, CodeOutOfRange, "phases must be 1 or 3", []int{1, 3}, "2")
	}
}

func (l *Lint) identity(id, slug string) {
	l.uuid("/id", id)
	switch {
	case slug == "":
	case !ValidSlug(slug):
		l.fault("/slug", CodeIdentifier, "a slug has lower-case letters and digits in parts joined by single hyphens, 3 to 100 characters", nil, slug)
	case slices.Contains(ReservedSlugs, slug):
		l.fault("/slug", CodeReserved, "this word has another meaning in paths; choose another slug", nil, slug)
	}
}

var (
	uuidForm    = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`)
	slugForm    = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	qualityForm = regexp.MustCompile(`^[a-z0-9_]+(\[[0-9]{1,4}\])?(\.[a-z0-9_]+(\[[0-9]{1,4}\])?)*$`)
)

// ValidSlug reports whether s can be the slug of a record: a UUID never is, since both stand in paths.
func ValidSlug(s string) bool {
	return len(s) >= 3 && len(s) <= 100 && slugForm.MatchString(s) && !uuidForm.MatchString(s)
}

func (l *Lint) uuid(pointer, id string) {
	if id != "" && !uuidForm.MatchString(id) {
		l.fault(pointer, CodeIdentifier, "the id must be a UUID in lower case", nil, id)
	}
}

func (l *Lint) word(pointer, got string, allowed []string) {
	if got != "" && !slices.Contains(allowed, got) {
		l.fault(pointer, CodeWord, "write one of "+strings.Join(allowed, ", "), allowed, got)
	}
}

func (l *Lint) words(under string, c stator.Core) {
	l.word(under+"/rotor_position", string(c.RotorPosition), []string{string(stator.RotorInside), string(stator.RotorOutside)})
	l.word(under+"/slot_area_basis", string(c.SlotAreaBasis), []string{string(stator.AreaNet), string(stator.AreaGross)})
}

// provenance wants a licence that lets others use the record. A record that names none, or no
// source, is taken and says so.
func (l *Lint) provenance(p Provenance) {
	switch {
	case p.Licence == "":
		l.missing("licence", "the record names no licence; nobody knows whether it may be passed on")
	case !slices.Contains(Licences, p.Licence):
		l.fault("/licence", CodeLicence, "name one of these SPDX licences: "+strings.Join(Licences, ", "), Licences, p.Licence)
	}
	if p.Source == "" {
		l.missing("source", "the record names no source")
	}
}

func (l *Lint) missing(field, message string) {
	l.Findings = append(l.Findings, errs.Finding{Code: field + "_missing", Severity: errs.SeverityWarning, Fields: []string{field}, Message: message})
}

func (l *Lint) quality(q map[string]string) {
	names := make([]string, 0, len(q))
	for name := range q {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		at := "/quality/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
		if !qualityForm.MatchString(name) || len(name) > 100 {
			l.fault(at, CodeIdentifier, "name the field with dots, such as nameplate.power_w or scheme.coil_sets[0].mass_g", nil, name)
		}
		if q[name] == "" || !slices.Contains(Qualities, q[name]) {
			l.fault(at, CodeWord, "write one of "+strings.Join(Qualities, ", "), Qualities, q[name])
		}
	}
}

// pointerOf turns the first dotted name of a finding into a JSON pointer.
func pointerOf(f errs.Finding) string {
	if len(f.Fields) == 0 {
		return ""
	}
	name := strings.NewReplacer("[", ".", "]", "").Replace(f.Fields[0])
	return "/" + strings.ReplaceAll(name, ".", "/")
}

// UnprovedCode is the code of the finding about a record that came without a vetting proof.
const UnprovedCode = "unproved"

// Unproved is the finding of a record that was imported without a vetting proof (contract rule 5). why
// says what was wrong with the proof that it had, "" if it had none.
func Unproved(institute, why string) errs.Finding {
	from := "another institute"
	if institute != "" {
		from = institute
	}
	message := fmt.Sprintf("The record came from %s without a vetting proof: nobody here vouches for it.", from)
	if why != "" {
		message = fmt.Sprintf("The record came from %s with a vetting proof that counts for nothing here: %s", from, why)
	}
	return errs.Finding{Code: UnprovedCode, Severity: errs.SeverityNote, Fields: []string{"status"}, Message: message}
}
