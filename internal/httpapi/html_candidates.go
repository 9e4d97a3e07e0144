package httpapi

import (
	"cmp"
	"context"
	"html/template"
	"math"
	"regexp"
	"slices"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/match"

	"github.com/gin-gonic/gin"
)

// candidatesBody is what the page of candidates shows.
type candidatesBody struct {
	Query     template.URL // the readings as an address
	Given     []givenView
	Answer    matchView
	Rows      []candidateRow // candidates of some weight and none of them, likeliest first
	Rest      []candidateRow // the others
	Proposals []proposalRow
	Unlikely  bool // no proposal is likelier right than wrong

	Beyond      bool          // nothing was looked for: the machine is outside what is answered
	Contradicts bool          // no core can have the readings as typed
	Likely      float64       // probability of the likeliest core, where nothing is decided
	ReadAs      []readAsRow   // readings that were taken for other ones
	Outside     []outsideView // readings beyond the catalogue, but for those that were taken for others
	Settle      []string      // what is to be settled before any of the proposals is wound
	Kinds       string        // kinds of motor of the likely records, "" if one or told
	StockUnused bool          // the wires of the stock list serve no proposal
	Remains     bool          // something was left in the core and told
}

// givenView is an answer as people read it, with its unit or instrument.
type givenView struct{ Field, Said, Unit, With string }

// candidateRow is a line of the list. Kind is record, unlisted or none.
type candidateRow struct {
	Kind        string
	First       bool // the likeliest record
	Probability float64
	Record      recordName
	Comparison  []comparedView
}

// recordName is how a record is called on a page.
type recordName struct{ ID, Slug, Title, Status, MotorType string }

// comparedView is a reading beside the record. At is its place on a scale of 100 from -4 to +4 deviations.
type comparedView struct {
	comparisonView
	At     float64
	Beyond bool
}

// deviationsShown is half the width of the drawn scale.
const deviationsShown = 4

// proposalRow is a proposal with its number on the page, from 1.
type proposalRow struct {
	N int
	proposalView
	From  []recordName
	For   string // what it is for
	About alerts
	plate bundle.Nameplate
}

// proposalRow puts beside a proposal what a bench must know of it first. Records are called by their names.
func (s *server) proposalRow(n int, p match.Proposal, req matchRequest, name func(string) recordName) proposalRow {
	row := proposalRow{N: n, proposalView: viewProposal(p), From: each(p.Basis.WindingIDs, name), plate: bundle.NameplateOf(p.Nameplate)}
	for i, step := range row.Basis.Steps {
		row.Basis.Steps[i] = recordID.ReplaceAllStringFunc(step, func(id string) string { return name(id).Slug })
	}
	row.For = s.pages.texts.plateFor(row.plate, row.Scheme)
	row.About.Untold = untold(req, row.plate)
	row.About.Site, row.About.SiteHertz = siteElse(req.Supply, row.plate), hertzElse(req.Supply, row.plate)
	row.About.sort(row.Findings)
	return row
}

// recordID finds the ids of records in a sentence.
var recordID = regexp.MustCompile(`[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}`)

// sendCandidates shows what the readings may be. A refusal of the match goes back to the form.
func (s *server) sendCandidates(c *gin.Context, f *form, req matchRequest) error {
	a, snap, err := s.matchNow(c.Request.Context(), req.toDomain())
	if err != nil {
		if err = f.note(s.pages.texts, err); err != nil {
			return err
		}
		return s.sendFindForm(c, f, req, false, "")
	}
	names := s.namer(c.Request.Context())
	v := viewMatch(snap.Revision, req, a)
	body := candidatesBody{Query: template.URL(f.query()), Given: f.givenViews(s.pages.texts), Answer: v}
	body.Rows, body.Rest = candidateRows(v, names)
	for i, p := range a.Proposals {
		row := s.proposalRow(i+1, p, req, names)
		row.About.Unlike = f.unlike(s.pages.texts, req, p, a.Findings, snap.Wires)
		body.Proposals = append(body.Proposals, row)
	}
	body.Unlikely = len(a.Proposals) > 0 && a.Proposals[0].Probability < likelierThanNot
	body.say(s.pages.texts, f, req, a)
	return s.sendHTML(c, "candidates", pageView{Title: s.pages.texts["candidates.title"], Nav: "/", Body: body})
}

// say adds what the answer means for a bench, beyond its figures.
func (b *candidatesBody) say(t texts, f *form, req matchRequest, a match.Answer) {
	b.Beyond, b.Contradicts, b.StockUnused, b.Remains = beyondService(a), contradicting(a), stockUnused(req, a.Proposals), req.Remains != nil
	b.ReadAs = each(a.Readings, func(r match.ReadAs) readAsRow { return f.readAs(t, r) })
	misread := misreadAt(a.Readings)
	b.Outside = slices.DeleteFunc(slices.Clone(b.Answer.Extrapolated), func(o outsideView) bool { return misread[o.Field] })
	b.Answer.Findings = slices.DeleteFunc(slices.Clone(b.Answer.Findings), func(d bundle.Finding) bool {
		return d.Code == "remains_disagree" && misread[d.Fields[0]] // the reading says so already, and what it may be
	})
	b.Settle, b.Kinds = t.unsettled(req, a.Proposals), t.kindsOf(req, b.Rows)
	if len(a.Cores) > 0 {
		b.Likely = a.Cores[0].Probability
	}
}

func (f *form) givenViews(t texts) []givenView {
	return each(f.given(), func(in input) givenView {
		g := givenView{Field: in.Name, Said: f.values[in.Name], Unit: t.unit(in)}
		switch in.Kind {
		case askChoice, askPick:
			g.Said = t.choice(in.Name, g.Said)
		case askLength:
			g.With = cmp.Or(f.values[in.Name+withSuffix], f.values["with"], instruments[0].Name)
		}
		return g
	})
}

// listedFrom is the probability from which a candidate is shown without a tap.
const listedFrom = 0.01

// candidateRows sets none of them among the candidates by its probability, and those of little
// weight, with all beyond the list, apart.
func candidateRows(v matchView, name func(string) recordName) (rows, rest []candidateRow) {
	rows = each(v.Candidates, func(c candidateView) candidateRow {
		row := candidateRow{Kind: "record", Probability: c.Probability, Record: name(c.WindingID), Comparison: each(c.Comparison, compared)}
		row.Record.Status = c.Status
		return row
	})
	if len(rows) > 0 {
		rows[0].First = true
	}
	rows = append(rows, candidateRow{Kind: "none", Probability: v.None.Winding})
	slices.SortStableFunc(rows, func(a, b candidateRow) int { return cmp.Compare(b.Probability, a.Probability) })
	little := slices.IndexFunc(rows, func(r candidateRow) bool { return r.Kind == "record" && r.Probability < listedFrom })
	if little >= 0 {
		for _, r := range rows[little:] {
			if r.Kind == "none" { // none of them is never put away
				rows[little], little = r, little+1
			} else {
				rest = append(rest, r)
			}
		}
		rows = rows[:little]
	}
	if v.Unlisted > 0 {
		rest = append(rest, candidateRow{Kind: "unlisted", Probability: v.Unlisted})
	}
	return rows, rest
}

func compared(c comparisonView) comparedView {
	at := math.Max(-deviationsShown, math.Min(deviationsShown, c.Deviations))
	return comparedView{c, 50 + 50*at/deviationsShown, math.Abs(c.Deviations) > deviationsShown}
}

// namer reads how records are called. A record that cannot be read is called by its id: the answer does not hang on it.
func (s *server) namer(ctx context.Context) func(id string) recordName {
	known, families := map[string]recordName{}, map[string]catalog.Family{}
	return func(id string) recordName {
		if n, ok := known[id]; ok {
			return n
		}
		n := recordName{ID: id, Slug: id, Title: id}
		if w, err := s.Windings.Winding(ctx, id); err == nil {
			n.Slug, n.Status, n.MotorType = w.Slug, string(w.Status), w.MotorType
			family, ok := families[w.FamilyID]
			if !ok && w.FamilyID != "" {
				if family, err = s.Families.Family(ctx, w.FamilyID); err != nil {
					s.Log.WarnContext(ctx, "a family could not be read for the name of a record", "error", err.Error())
				}
				families[w.FamilyID] = family
			}
			n.Title = cmp.Or(family.Title, w.Slug)
		} else if errs.KindOf(err) != errs.KindNotFound {
			s.Log.WarnContext(ctx, "a record could not be read for its name", "error", err.Error())
		}
		known[id] = n
		return n
	}
}
