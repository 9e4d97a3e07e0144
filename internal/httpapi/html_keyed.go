package httpapi

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// The two pages that store something do so by a script, with a key that a person types: a key in an
// address, a cookie or a form that is sent would be kept where it must not be. What the pages
// themselves answer needs no key and stores nothing.

const (
	sheetCoilSets = 4 // main, auxiliary and two speed coils; or the three phases
	sheetWires    = 2 // of different size, laid in parallel
	sheetLeads    = 3
)

// The words of the contract that the data sheet offers.
var (
	originWords  = []string{"factory", "previously_rewound", "unknown"}
	ringWords    = []string{"gap", "back"}
	patternWords = []string{"lap", "concentric", "tooth", "skein"}
	systemWords  = []string{"swg", "awg", "metric", "bare"}
	massWords    = []string{"bare", "enamelled", "varnished", "with_leads"}
	joiningWords = []string{"end_to_end", "start_to_start", "end_to_start"}
	buildWords   = []string{"grade_1", "grade_2", "grade_3", "single", "heavy", "triple"}
)

// sheetSections lists the questions of the data sheet in the order of the work: the plate, the coils
// while they lie in place, the bare core, the rest. Lengths are in millimetres. What a record holds
// beyond these questions is kept when a draft is changed here.
var sheetSections = []section{
	{ID: "motor", Open: true, Inputs: ask("/", "",
		input{Name: "motor_type", Kind: askChoice, Options: slices.Concat(motorWords, []string{"shaded_pole", "unknown"})}, input{Name: "origin", Kind: askChoice, Options: originWords},
		input{Name: "nameplate.voltage_v", Kind: askNumber}, input{Name: "nameplate.frequency_hz", Kind: askNumber}, input{Name: "nameplate.power_w", Kind: askNumber},
		input{Name: "nameplate.current_a", Kind: askNumber}, input{Name: "nameplate.speed_rpm", Kind: askNumber}, input{Name: "nameplate.capacitor_uf", Kind: askNumber},
		input{Name: "nameplate.capacitor_v", Kind: askNumber}, input{Name: "nameplate.sweep_mm", Kind: askNumber}, input{Name: "nameplate.insulation_class", Kind: askWords},
		input{Name: "nameplate.speed_taps", Kind: askCount}, input{Name: "nameplate.connection", Kind: askChoice, Options: connectionWords})},
	{ID: "coils", Open: true, Inputs: ask("/", "scheme.", input{Name: "poles", Kind: askCount}), Rows: coilSetRows()},
	{ID: "core", Open: true, Inputs: ask("/", "core_as_measured.",
		input{Name: "phases", Kind: askPick, Options: phaseWords}, input{Name: "rotor_position", Kind: askChoice, Options: rotorWords}, input{Name: "slots", Kind: askCount},
		input{Name: "gap_diameter_mm", Kind: askNumber}, input{Name: "back_diameter_mm", Kind: askNumber}, input{Name: "stack_length_mm", Kind: askNumber},
		input{Name: "tooth_width_mm", Kind: askNumber}, input{Name: "slot_depth_mm", Kind: askNumber}, input{Name: "slot_opening_mm", Kind: askNumber},
		input{Name: "back_iron_mm", Kind: askNumber}, input{Name: "slot_area_mm2", Kind: askNumber}, input{Name: "slot_area_basis", Kind: askChoice, Options: []string{"net", "gross"}},
		input{Name: "second_ring.slots", Kind: askCount}, input{Name: "second_ring.tooth_width_mm", Kind: askNumber}, input{Name: "second_ring.slot_depth_mm", Kind: askNumber},
		input{Name: "second_ring.slot_opening_mm", Kind: askNumber}, input{Name: "second_ring.slot_area_mm2", Kind: askNumber}, input{Name: "second_ring.turned_slots", Kind: askNumber})},
	{ID: "rest", Inputs: ask("/", "",
		input{Name: "overhang_lead_mm", Kind: askNumber}, input{Name: "overhang_far_mm", Kind: askNumber},
		input{Name: "liner.material", Kind: askWords}, input{Name: "liner.thickness_mm", Kind: askNumber}, input{Name: "thermal_cutout", Kind: askWords}),
		Rows: askRows("leads.", sheetLeads, input{Name: "mark", Kind: askWords}, input{Name: "colour_seen", Kind: askWords}, input{Name: "goes_to", Kind: askWords})},
	{ID: "origin", Open: true, Inputs: ask("/", "",
		input{Name: "source", Kind: askText}, input{Name: "licence", Kind: askWords}, input{Name: "family_id", Kind: askName}, input{Name: "demo", Kind: askTick})},
}

// coilSetRows asks for each coil set, its wires included.
func coilSetRows() [][]input {
	questions := []input{
		{Name: "role", Kind: askChoice, Options: roleWordsAsked}, {Name: "tap", Kind: askCount}, {Name: "ring", Kind: askChoice, Options: ringWords},
		{Name: "pattern.kind", Kind: askChoice, Options: patternWords}, {Name: "pattern.throws", Kind: askList}, {Name: "pattern.turns", Kind: askList},
		{Name: "pattern.groups", Kind: askCount}, {Name: "pattern.alternate", Kind: askTick}, {Name: "joining", Kind: askChoice, Options: joiningWords}, {Name: "parallel_paths", Kind: askCount},
	}
	for i := range sheetWires {
		for _, in := range []input{
			{Name: "system", Kind: askChoice, Options: systemWords}, {Name: "size", Kind: askWords}, {Name: "diameter_mm", Kind: askNumber},
			{Name: "conductor", Kind: askChoice, Options: conductors}, {Name: "strands", Kind: askCount}, {Name: "build", Kind: askChoice, Options: buildWords},
		} {
			if i > 0 && in.Name == "build" {
				continue // the same enamel, as a rule; the page stays light
			}
			in.Name = "wires." + strconv.Itoa(i) + "." + in.Name
			questions = append(questions, in)
		}
	}
	questions = append(questions, input{Name: "mass_g", Kind: askNumber}, input{Name: "mass_state", Kind: askChoice, Options: massWords},
		input{Name: "resistance_ohm", Kind: askNumber}, input{Name: "temperature_c", Kind: askNumber}, input{Name: "lead_pair", Kind: askWords})
	return askRows("scheme.coil_sets.", sheetCoilSets, questions...)
}

var (
	sheetInputs  = inputsOf(sheetSections)
	paramsSheets = paramsOf(sheetInputs)
)

// sheetHow tells of each field of a record how it is got at the bench, rows of a list under one name.
var sheetHow = func() map[string]string {
	how := map[string]string{}
	for _, f := range bundle.BlankSheet("general") {
		how[strings.ReplaceAll(f.Field, "[]", "")] = f.How
	}
	return how
}()

// sheetBody is what the data sheet shows.
type sheetBody struct {
	Form     *form
	Sections []section
	Cautions []cautionView
	Checks   []readingCheck
	General  []readingCheck // findings that no question of the form is about
	Asked    bool
}

// dataSheet answers GET /data-sheet: the form, with what the check says of the answers in the address.
func (s *server) dataSheet(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	f := newForm(q, sheetInputs)
	body := sheetBody{Form: f, Cautions: viewCautions(winding.StandardCautions(sheetCautions...)), Asked: !f.empty()}
	if err := s.familyByName(c, f); err != nil {
		return err
	}
	var req windingDraft
	if err := f.decode(s.pages.texts, &req, nil); err != nil {
		return err
	}
	if body.Asked && !f.bad() {
		snap, err := s.snapshot()
		if err != nil {
			return err
		}
		body.sort(snap.Index.CheckRecord(sheetOf(req.Sheet)).Findings)
	}
	body.Sections = openAnswered(sheetSections, f, "")
	view := pageView{Title: s.pages.texts["keyed.sheet_title"], Nav: "/data-sheet", Class: "keyed", Body: body}
	if f.bad() {
		view.Status = http.StatusUnprocessableEntity
	}
	return s.sendHTML(c, "datasheet", view)
}

// familyByName says so if the family that was typed, by readable name or id, cannot be meant. The name is
// no part of the body: the check does without, and the script asks for the id.
func (s *server) familyByName(c *gin.Context, f *form) error {
	const asked = "family_id"
	typed := strings.ToLower(f.Value(asked))
	switch {
	case typed == "" || jsonin.IsUUID(typed):
		return nil
	case !jsonin.IsSlug(typed):
		f.refuse(asked, s.pages.texts["say.family_name"])
		return nil
	}
	_, err := s.family(c, typed)
	if errs.KindOf(err) == errs.KindNotFound {
		f.refuse(asked, strings.Replace(s.pages.texts["say.no_such_family"], "%s", typed, 1))
		err = nil
	}
	return err
}

// sheetOf is a record as the coherence check takes it.
func sheetOf(b bundle.Sheet) winding.Sheet {
	w := b.ToDomain()
	sheet := winding.Sheet{MotorType: w.MotorType, Origin: w.Origin, Nameplate: w.Nameplate, Scheme: w.Scheme}
	if w.CoreAsMeasured != nil {
		sheet.Core = *w.CoreAsMeasured
	}
	return sheet
}

// sort puts findings at the questions that they are about.
func (b *sheetBody) sort(findings []errs.Finding) {
	for _, f := range findings {
		v := readingCheck{Severity: string(f.Severity), Text: sentence(f.Message)}
		if len(f.Fields) > 0 {
			v.Field = b.Form.inputAt(pointerOf(f.Fields[0]))
		}
		if v.Field == "" {
			b.General = append(b.General, v)
			continue
		}
		b.Checks = append(b.Checks, v)
	}
}

// pointerOf makes a pointer into a record of the dotted name that a finding calls a field by.
func pointerOf(field string) string {
	if rest, ofCore := strings.CutPrefix(field, "core."); ofCore {
		field = "core_as_measured." + rest
	}
	return "/" + strings.NewReplacer("[", "/", "]", "", ".", "/").Replace(field)
}

// vettingDesk answers GET /vetting-desk. All of it is done by its script, with a key.
func (s *server) vettingDesk(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	return s.sendHTML(c, "desk", pageView{Title: s.pages.texts["keyed.desk_title"], Nav: "/vetting-desk", Class: "keyed"})
}

// under gives the texts whose keys begin with one of the prefixes, for scripts to say.
func (t texts) under(prefixes ...string) texts {
	out := texts{}
	for key, text := range t {
		if slices.ContainsFunc(prefixes, func(p string) bool { return strings.HasPrefix(key, p) }) {
			out[key] = text
		}
	}
	return out
}
