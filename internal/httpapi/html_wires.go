package httpapi

import (
	"net/http"
	"slices"

	"statorbook/internal/bundle"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// wireForm is what the three pages about wires share: a form, and what came of it.
type wireForm struct {
	Form        *form
	Inputs      []input
	Instruments []instrument
	Asked       bool

	Sizes  []bundle.WireSize   // look-up
	Equals *equivalentsView    // replacement
	Scrap  *identificationView // scrap
}

// wireInputs are the questions of the look-up.
var wireInputs = ask("/", "",
	input{Name: "system", Kind: askChoice, Options: words(wire.Systems())}, input{Name: "size", Kind: askWords},
	input{Name: "diameter_mm", Kind: askLength}, input{Name: "material", Kind: askChoice, Options: conductors})

var paramsWirePage = paramsOf(wireInputs)

// nearDiameter is how far a size may lie from a bare diameter that is looked up: either side, as a share.
const nearDiameter = 0.05

// wirePage answers GET /wires: sizes by system and name, or around a bare diameter.
func (s *server) wirePage(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	f := newForm(q, wireInputs)
	body := wireForm{Form: f, Inputs: wireInputs, Instruments: instruments, Asked: !f.empty()}
	if body.Asked {
		body.Sizes, err = s.lookUp(snap, f)
	}
	if err != nil {
		return err
	}
	return s.sendWires(c, "wires", body)
}

// lookUp reads the form as the parameters of the list of wires and asks it.
func (s *server) lookUp(snap *Snapshot, f *form) ([]bundle.WireSize, error) {
	var asked struct {
		Diameter bundle.M `json:"diameter_mm" in:"min=0.001,max=100"`
		System   string   `json:"system" in:"enum=swg|awg|metric"`
		Size     string   `json:"size" in:"runes=32"`
		Material string   `json:"material" in:"enum=copper|aluminium"`
	}
	if err := f.decode(s.pages.texts, &asked, nil); err != nil || f.bad() {
		return nil, err
	}
	tables, err := snap.tables()
	if err != nil {
		return nil, err
	}
	q := &query{known: paramsWires, values: map[string]string{}}
	for name, v := range map[string]string{"system": asked.System, "size": asked.Size, "material": asked.Material} {
		if v != "" {
			q.values[name] = v
		}
	}
	if d := asked.Diameter.Measured; d.Given {
		q.values["min_diameter_mm"], q.values["max_diameter_mm"] = plain(d.Value*(1-nearDiameter)), plain(d.Value*(1+nearDiameter))
	}
	o := readWireOptions(q)
	filter := readWireFilter(q, snap.Wires)
	for _, wrong := range q.fields {
		f.refuse(wrong.Parameter, sentence(wrong.Detail))
	}
	if f.bad() {
		return nil, nil
	}
	return each(tables.filter(filter, o), func(i int) bundle.WireSize { return viewWire(tables.sizes[i], o).WireSize }), nil
}

// replaceInputs are the questions about what may replace a wire.
var replaceInputs = slices.Concat(
	ask("/", "from.", input{Name: "system", Kind: askChoice, Options: words(wire.Systems())}, input{Name: "size", Kind: askWords}, input{Name: "diameter_mm", Kind: askLength},
		input{Name: "build", Kind: askChoice, Options: words(wire.Builds())}, input{Name: "conductor", Kind: askChoice, Options: conductors}, input{Name: "strands", Kind: askCount}),
	[]input{{Name: "to.swg", Kind: askTick}, {Name: "to.awg", Kind: askTick}, {Name: "to.metric", Kind: askTick}},
	ask("/", "to.", input{Name: "conductor", Kind: askChoice, Options: conductors}, input{Name: "max_strands", Kind: askCount}, input{Name: "mixed", Kind: askTick}),
	ask("/", "limits.", input{Name: "area_error_pct.low", Kind: askNumber}, input{Name: "area_error_pct.high", Kind: askNumber},
		input{Name: "max_overall_mm", Kind: askNumber}, input{Name: "max_bare_mm", Kind: askNumber}, input{Name: "min_thermal_class", Kind: askWords}),
	ask("/", "", input{Name: "stock", Kind: askLines}),
)

var paramsReplace = paramsOf(replaceInputs)

// replacePage answers GET /wires/replace: what may stand in for a wire.
func (s *server) replacePage(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	f := newForm(q, replaceInputs)
	body := wireForm{Form: f, Inputs: replaceInputs, Instruments: instruments, Asked: !f.empty()}
	if !body.Asked {
		return s.sendWires(c, "replace", body)
	}
	f.assume("from.conductor", string(wire.Copper))
	f.assume("from.strands", "1")
	lists := map[string][]any{}
	if stock := f.stock(s.pages.texts, "stock"); stock != nil {
		lists["/stock"] = stock
	}
	for _, system := range wire.Systems() {
		if f.Is("to."+string(system), "yes") {
			lists["/to/systems"] = append(lists["/to/systems"], string(system))
		}
	}
	var req equivalentsRequest
	if err := f.decode(s.pages.texts, &req, lists); err != nil {
		return err
	}
	if !f.bad() {
		view, err := snap.equivalents(req)
		if err := f.note(s.pages.texts, err); err != nil {
			return err
		}
		body.Equals = &view
	}
	return s.sendWires(c, "replace", body)
}

const scrapReadings = 3

// scrapInputs are the questions about a scrap of wire.
var scrapInputs = slices.Concat(
	slices.Concat(askRows("readings.", scrapReadings, input{Name: "diameter_mm", Kind: askLength})...),
	ask("/", "", input{Name: "surface", Kind: askChoice, Options: coatingWords}, input{Name: "condition", Kind: askChoice, Options: conditionWords},
		input{Name: "conductor", Kind: askChoice, Options: conductors}),
	ask("/", "resistance.", input{Name: "ohm", Kind: askNumber}, input{Name: "length_m", Kind: askNumber}, input{Name: "temperature_c", Kind: askNumber}, input{Name: "strands", Kind: askCount}),
	ask("/", "mass.", input{Name: "g", Kind: askNumber}, input{Name: "length_m", Kind: askNumber}, input{Name: "strands", Kind: askCount}),
)

var paramsScrap = paramsOf(scrapInputs)

// scrapPage answers GET /wires/scrap: which wire a scrap may be.
func (s *server) scrapPage(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	f := newForm(q, scrapInputs)
	body := wireForm{Form: f, Inputs: scrapInputs, Instruments: instruments, Asked: !f.empty()}
	if !body.Asked {
		return s.sendWires(c, "scrap", body)
	}
	var req identificationRequest
	if err := f.decode(s.pages.texts, &req, nil); err != nil {
		return err
	}
	if !f.bad() {
		view, err := snap.identify(req)
		if err := f.note(s.pages.texts, err); err != nil {
			return err
		}
		body.Scrap = &view
	}
	return s.sendWires(c, "scrap", body)
}

// sendWires answers with one of the pages about wires; what came of a faulty form is left out.
func (s *server) sendWires(c *gin.Context, page string, body wireForm) error {
	nav := "/wires/" + page
	if page == "wires" {
		nav = "/wires"
	}
	view := pageView{Title: s.pages.texts[page+".title"], Nav: nav, Class: "wires", Body: body}
	if body.Form.bad() {
		view.Status, body.Asked, body.Sizes, body.Equals, body.Scrap = http.StatusUnprocessableEntity, false, nil, nil, nil
		view.Body = body
	}
	return s.sendHTML(c, page, view)
}

// listed and unlisted part the candidates for a scrap by whether they have some weight.
func listed(all []wireProbability) []wireProbability { return all[:parting(all)] }

func unlisted(all []wireProbability) []wireProbability { return all[parting(all):] }

func parting(all []wireProbability) int {
	i := slices.IndexFunc(all, func(w wireProbability) bool { return w.Probability < listedFrom })
	if i < 0 {
		return len(all)
	}
	return i
}
