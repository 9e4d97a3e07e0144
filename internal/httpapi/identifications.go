package httpapi

import (
	"strconv"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
	"statorbook/internal/wire"

	"github.com/gin-gonic/gin"
)

// identificationRequest is a piece of wire as somebody measured it.
type identificationRequest struct {
	Readings   []diameterReading  `json:"readings" in:"maxitems=50"`
	Surface    string             `json:"surface" in:"enum=bare|over_enamel|unknown"`
	Condition  string             `json:"condition" in:"enum=clean|burnt|unknown"`
	Resistance *resistanceReading `json:"resistance"`
	Mass       *massReading       `json:"mass"`
	Conductor  string             `json:"conductor" in:"enum=copper|aluminium"`
}

type diameterReading struct {
	Diameter   bundle.M `json:"diameter_mm" in:"required,min=0.005,max=25"`
	Resolution float64  `json:"resolution_mm" in:"min=0.000001,max=10"`
}

type resistanceReading struct {
	Ohm         bundle.M `json:"ohm" in:"required,min=0.000001,max=1000000"`
	Length      bundle.M `json:"length_m" in:"required,min=0.001,max=1000000"`
	Temperature bundle.M `json:"temperature_c" in:"min=-50,max=300"`
	Strands     int      `json:"strands" in:"min=1,max=8"`
}

type massReading struct {
	Gram    bundle.M `json:"g" in:"required,min=0.000001,max=1000000"`
	Length  bundle.M `json:"length_m" in:"required,min=0.001,max=1000000"`
	Strands int      `json:"strands" in:"min=1,max=8"`
}

// identificationView is what the scrap may be.
type identificationView struct {
	Candidates  []wireProbability `json:"candidates"`
	Inseparable [][2]string       `json:"inseparable"`
	SettleBy    []string          `json:"settle_by"`
	Findings    []bundle.Finding  `json:"findings"`
}

type wireProbability struct {
	Wire        bundle.Wire `json:"wire"`
	Probability float64     `json:"probability"`
}

// postIdentification answers POST /v1/wire-identifications.
func (s *server) postIdentification(c *gin.Context, q *query) error {
	var req identificationRequest
	if err := decodeBody(c, q, &req, jsonin.Single); err != nil {
		return err
	}
	if err := req.check(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	view, err := snap.identify(req)
	if err != nil {
		return err
	}
	return sendJSON(c, view)
}

// identify asks the wire tables.
func (s *Snapshot) identify(req identificationRequest) (identificationView, error) {
	id, err := s.Wires.Identify(req.toDomain())
	if err != nil {
		return identificationView{}, err
	}
	return identificationView{
		Candidates: each(id.Candidates, func(w wire.WireProbability) wireProbability {
			return wireProbability{bundle.WireOf(w.Wire), w.Probability}
		}),
		Inseparable: filled(id.Inseparable), SettleBy: each(id.SettleBy, sentence), Findings: viewFindings(id.Findings),
	}, nil
}

func (r identificationRequest) toDomain() wire.Scrap {
	scrap := wire.Scrap{
		Readings: each(r.Readings, diameterReading.toDomain), Surface: wire.Surface(r.Surface), Condition: wire.Condition(r.Condition),
		Conductor: wire.Conductor(r.Conductor),
	}
	if m := r.Resistance; m != nil {
		scrap.Resistance = &wire.ResistanceReading{Ohm: m.Ohm.Measured, Length: m.Length.Measured, Temperature: m.Temperature.Measured, Strands: m.Strands}
	}
	if m := r.Mass; m != nil {
		scrap.Mass = &wire.MassReading{Gram: m.Gram.Measured, Length: m.Length.Measured, Strands: m.Strands}
	}
	return scrap
}

// check refuses readings that say twice how fine they are.
func (r identificationRequest) check() error {
	var fields []errs.Field
	for i, reading := range r.Readings {
		if reading.Resolution > 0 && (reading.Diameter.Resolution > 0 || reading.Diameter.Uncertainty > 0) {
			fields = append(fields, errs.Field{Pointer: "/readings/" + strconv.Itoa(i) + "/resolution_mm", Code: jsonin.CodeConflict,
				Detail: "the reading itself states its uncertainty or resolution; leave resolution_mm out", Got: plain(reading.Resolution)})
		}
	}
	if fields == nil {
		return nil
	}
	return errs.New(errs.KindImpossible, "", fields...)
}

// toDomain lets resolution_mm speak where the reading itself states nothing.
func (r diameterReading) toDomain() unit.Measured {
	m := r.Diameter.Measured
	if r.Resolution > 0 {
		m.Resolution = r.Resolution
	}
	return m
}
