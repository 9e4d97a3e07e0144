package httpapi

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/stator"

	"github.com/gin-gonic/gin"
)

// section is a part of the find form.
type section struct {
	ID     string
	Inputs []input
	Rows   [][]input // rows of equal questions
	Open   bool      // shown without a tap
}

// The words of the contract that the form offers.
var (
	rotorWords      = []string{string(stator.RotorInside), string(stator.RotorOutside)}
	phaseWords      = []string{"1", "3"}
	connectionWords = []string{"single", "star", "delta"}
	roleWordsAsked  = []string{"main", "auxiliary", "speed", "phase_u", "phase_v", "phase_w"}
	motorWords      = []string{"permanent_split_capacitor", "capacitor_start", "capacitor_start_run", "split_phase", "three_phase_cage"}
	shapeWords      = []string{"parallel_tooth", "trapezoid", "round_bottom", "rectangular", "round"}
	coatingWords    = []string{"bare", "over_enamel"}
	conditionWords  = []string{"clean", "burnt"}
)

const scrapRows, coilRows = 3, 3

// findSections lists the questions of the find form: those of a match, in the order of the bench.
var findSections = []section{
	{ID: "core", Open: true, Inputs: ask("/measurements/", "",
		input{Name: "rotor_position", Kind: askChoice, Options: rotorWords}, input{Name: "phases", Kind: askPick, Options: phaseWords},
		input{Name: "slots", Kind: askCount}, input{Name: "gap_diameter_mm", Kind: askLength}, input{Name: "back_diameter_mm", Kind: askLength},
		input{Name: "stack_length_mm", Kind: askLength}, input{Name: "tooth_width_mm", Kind: askLength}, input{Name: "slot_depth_mm", Kind: askLength},
		input{Name: "slot_opening_mm", Kind: askLength}, input{Name: "back_iron_mm", Kind: askLength}, input{Name: "slot_area_mm2", Kind: askNumber},
		input{Name: "slot_area_basis", Kind: askChoice, Options: []string{"net", "gross"}}, input{Name: "slot_shape", Kind: askChoice, Options: shapeWords})},
	{ID: "second_ring", Inputs: ask("/measurements/", "second_ring.",
		input{Name: "slots", Kind: askCount}, input{Name: "tooth_width_mm", Kind: askLength}, input{Name: "slot_depth_mm", Kind: askLength},
		input{Name: "slot_opening_mm", Kind: askLength}, input{Name: "slot_area_mm2", Kind: askNumber}, input{Name: "turned_slots", Kind: askNumber})},
	{ID: "supply", Open: true, Inputs: ask("/", "supply.",
		input{Name: "voltage_v", Kind: askNumber}, input{Name: "frequency_hz", Kind: askNumber}, input{Name: "phases", Kind: askPick, Options: phaseWords},
		input{Name: "connection", Kind: askChoice, Options: connectionWords})},
	{ID: "nameplate", Inputs: append(ask("/", "nameplate.",
		input{Name: "voltage_v", Kind: askNumber}, input{Name: "frequency_hz", Kind: askNumber}, input{Name: "power_w", Kind: askNumber},
		input{Name: "current_a", Kind: askNumber}, input{Name: "speed_rpm", Kind: askNumber}, input{Name: "poles", Kind: askCount},
		input{Name: "capacitor_uf", Kind: askNumber}, input{Name: "capacitor_v", Kind: askNumber}, input{Name: "sweep_mm", Kind: askNumber},
		input{Name: "speed_taps", Kind: askCount}, input{Name: "insulation_class", Kind: askWords}, input{Name: "connection", Kind: askChoice, Options: connectionWords}),
		ask("/", "", input{Name: "motor_type", Kind: askChoice, Options: motorWords})...)},
	{ID: "remains", Rows: append(askRows("remains.wires.", scrapRows,
		input{Name: "diameter_mm", Kind: askLength}, input{Name: "coating", Kind: askChoice, Options: coatingWords},
		input{Name: "condition", Kind: askChoice, Options: conditionWords}, input{Name: "role", Kind: askChoice, Options: roleWordsAsked}, input{Name: "strands", Kind: askCount}),
		askRows("remains.coils.", coilRows, input{Name: "turns", Kind: askCount}, input{Name: "role", Kind: askChoice, Options: roleWordsAsked})...),
		Inputs: ask("/", "remains.copper_mass_g.", input{Name: "main", Kind: askNumber}, input{Name: "auxiliary", Kind: askNumber}, input{Name: "total", Kind: askNumber})},
	{ID: "stock", Inputs: ask("/", "", input{Name: "stock", Kind: askLines})},
}

// ask gives inputs their full names and their places in the body.
func ask(base, prefix string, inputs ...input) []input {
	out := make([]input, len(inputs))
	for i, in := range inputs {
		in.Name = prefix + in.Name
		in.pointer = base + strings.ReplaceAll(in.Name, ".", "/")
		out[i] = in
	}
	return out
}

// askRows asks the same questions n times.
func askRows(prefix string, n int, inputs ...input) [][]input {
	rows := make([][]input, n)
	for i := range rows {
		rows[i] = ask("/", prefix+strconv.Itoa(i)+".", inputs...)
	}
	return rows
}

// findInputs lists all inputs of the find form.
var findInputs = inputsOf(findSections)

// inputsOf lists all inputs of a form's sections.
func inputsOf(sections []section) []input {
	var all []input
	for _, s := range sections {
		all = append(append(all, s.Inputs...), slices.Concat(s.Rows...)...)
	}
	return all
}

// paramsFind are the parameters of the pages that go with a search: edit shows the form again,
// proposal picks one, revision tells which catalogue it was.
var paramsFind = paramsOf(findInputs, "edit", "proposal", "revision")

// findBody is what the find form shows.
type findBody struct {
	Form        *form
	Sections    []section
	Instruments []instrument
	Checks      []readingCheck
	Start       bool // the first page: says what this is for
}

// readingCheck is a finding about the readings, put at the field that it speaks about.
type readingCheck struct{ Field, Severity, Text string }

// readFind reads the answers of the find form as the body of a match.
func (s *server) readFind(q *query) (*form, matchRequest, error) {
	f := newForm(q, findInputs)
	var req matchRequest
	lists := map[string][]any{}
	if stock := f.stock(s.pages.texts, "stock"); stock != nil {
		lists["/stock"] = stock
	}
	err := f.decode(s.pages.texts, &req, lists)
	return f, req, err
}

// findForm shows the form, filled as far as q tells.
func (s *server) findForm(c *gin.Context, q *query, start bool) error {
	f, req, err := s.readFind(q)
	if err != nil {
		return err
	}
	return s.sendFindForm(c, f, req, start, "")
}

// sendFindForm shows the form; edit is the field that is to be changed, "" for none in particular.
func (s *server) sendFindForm(c *gin.Context, f *form, req matchRequest, start bool, edit string) error {
	body := findBody{Form: f, Sections: openAnswered(findSections, f, edit), Instruments: instruments, Start: start}
	if !f.bad() {
		body.Checks = checksOf(req)
	}
	view := pageView{Title: s.pages.texts["find.title"], Nav: "/", Class: "find", Body: body}
	if f.bad() {
		view.Status = http.StatusUnprocessableEntity
	}
	return s.sendHTML(c, "find", view)
}

// openAnswered opens the sections that hold an answer, a fault, or the field to change.
func openAnswered(sections []section, f *form, edit string) []section {
	out := make([]section, len(sections))
	for i, s := range sections {
		for _, in := range inputsOf(sections[i : i+1]) {
			s.Open = s.Open || f.values[in.Name] != "" || len(f.Faults[in.Name]) > 0 || in.Name == edit
		}
		out[i] = s
	}
	return out
}

// checksOf looks the readings over as the domain does.
func checksOf(req matchRequest) []readingCheck {
	return each(stator.Check(req.Measurements.ToDomain()), func(f errs.Finding) readingCheck {
		v := readingCheck{Severity: string(f.Severity), Text: sentence(f.Message)}
		if len(f.Fields) > 0 {
			v.Field = f.Fields[0]
		}
		return v
	})
}

// find answers GET /find: the candidates for the readings, or the form again when nothing was given,
// something is wrong, or the readings are to be changed.
func (s *server) find(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	f, req, err := s.readFind(q)
	if err != nil {
		return err
	}
	if f.bad() || f.empty() || q.values["edit"] != "" {
		return s.sendFindForm(c, f, req, false, q.values["edit"])
	}
	return s.sendCandidates(c, f, req)
}

// findCheck answers GET /find/check: what the domain says about the readings alone, for the form to show while it is filled in.
func (s *server) findCheck(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	f, req, err := s.readFind(q)
	if err != nil {
		return err
	}
	body := findBody{Form: f}
	if !f.bad() {
		body.Checks = checksOf(req)
	}
	return s.sendHTML(c, "check", pageView{Title: s.pages.texts["find.check"], Body: body})
}
