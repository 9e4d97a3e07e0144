package httpapi

import (
	"cmp"
	"context"
	"fmt"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/match"
	"statorbook/internal/stator"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// windingBody is what the page of a winding and its job sheet show.
type windingBody struct {
	Title    string
	Status   string
	SheetAt  string // address of the job sheet
	BackAt   string // address of the candidates, for a proposal
	Alerts   alerts
	Record   *bundle.Winding // of a record
	Family   string
	Proposal *proposalRow // of a proposal
	Sets     []setView
	Borrowed string // record that the page took for what was not measured
	Typed    *form  // the readings of a proposal, nil for a record
	Moved    bool   // the catalogue has moved on since the link was made
	Revision int64
	Work     workView
}

// setView is a coil set as it is wound. Ranges are those of a proposal.
type setView struct {
	bundle.CoilSet
	Throws   []throwView
	Coils    int
	Proposed *proposedSetView
	Figures  *roleView // computed
}

// throwView is one coil of a pattern.
type throwView struct {
	Throw string
	Turns float64
	Range *bundle.Range
}

// windingPage answers GET /windings/{id}: a record for the bench.
func (s *server) windingPage(c *gin.Context, q *query) error {
	return s.sendRecord(c, q, "winding")
}

// windingSheet answers GET /windings/{id}/sheet: its job sheet, for paper.
func (s *server) windingSheet(c *gin.Context, q *query) error {
	return s.sendRecord(c, q, "sheet")
}

func (s *server) sendRecord(c *gin.Context, q *query, page string) error {
	r, err := s.recordAsked(c, q)
	if err != nil {
		return err
	}
	view, err := viewWinding(r.Winding)
	if err != nil {
		return err
	}
	work := r.snap.workUp(subject{r.ID, r.Slug, r.Status, r.application, r.input})
	body := windingBody{
		Title: r.Slug, Status: string(r.Status), Alerts: s.pages.texts.alertsOf(work, work.Nameplate, view.Findings), SheetAt: "/windings/" + r.Slug + "/sheet", Record: &view, Family: s.namer(c.Request.Context())(r.ID).Title,
		Sets: setsOf(work, nil), Revision: r.snap.Revision, Work: work,
	}
	return s.sendHTML(c, page, pageView{Title: s.titleOf(page, r.Slug), Class: page, Body: body})
}

// titleOf names a page about a winding.
func (s *server) titleOf(page, what string) string {
	return fmt.Sprintf(s.pages.texts[page+".title"], what)
}

// proposalPage answers GET /find/winding: a proposal worked out, from the readings in the address.
func (s *server) proposalPage(c *gin.Context, q *query) error {
	return s.sendProposal(c, q, "winding")
}

// proposalSheet answers GET /find/sheet: its job sheet, for paper.
func (s *server) proposalSheet(c *gin.Context, q *query) error {
	return s.sendProposal(c, q, "sheet")
}

func (s *server) sendProposal(c *gin.Context, q *query, page string) error {
	n := max(q.whole("proposal", 1, 3), 1)
	revision := q.whole("revision", 0, 1<<53)
	if err := q.err(); err != nil {
		return err
	}
	f, req, err := s.readFind(q)
	if err != nil {
		return err
	}
	if f.bad() {
		return s.sendFindForm(c, f, req, false, "")
	}
	a, snap, err := s.matchNow(c.Request.Context(), req.toDomain())
	if err != nil {
		return err
	}
	if n > len(a.Proposals) {
		return s.sendCandidates(c, f, req)
	}
	query, names := f.query(), s.namer(c.Request.Context())
	p := a.Proposals[n-1]
	row := s.proposalRow(n, p, req, names)
	unlike, settle := f.unlike(s.pages.texts, req, p, nil, snap.Wires), s.pages.texts.unsettled(req, a.Proposals)
	req, taken := s.asRead(f, req, a)
	sub, borrowed := s.proposalSubject(c.Request.Context(), req, row)
	if sub.input.Nameplate == nil || row.Basis.Method != "record" || req.Nameplate != nil {
		sub.input.Nameplate = &p.Nameplate // what was read, and what the proposal takes for the rest
	}
	sub.input.Scheme, sub.input.MeanTurns = p.Scheme, p.MeanTurns
	sub.title = s.pages.texts.proposalTitle(n, sub.input.Core)
	work := snap.workUp(sub)
	about := s.pages.texts.alertsOf(work, row.plate, row.Findings)
	about.Untold, about.Site, about.SiteHertz = row.About.Untold, row.About.Site, row.About.SiteHertz
	about.Unlikely, about.ReadAs, about.Unlike, about.Settle = row.Probability < likelierThanNot, taken, unlike, settle
	here := fmt.Sprintf("%s&proposal=%d&revision=%d", query, n, snap.Revision)
	body := windingBody{
		Title: sub.title, Status: string(sub.status), Alerts: about, SheetAt: "/find/sheet?" + here, BackAt: "/find?" + query, Proposal: &row,
		Sets: setsOf(work, row.CoilSets), Borrowed: borrowed, Typed: f, Moved: revision != 0 && int64(revision) != snap.Revision, Revision: snap.Revision, Work: work,
	}
	return s.sendHTML(c, page, pageView{Title: s.titleOf(page, sub.title), Nav: "/", Class: page, Body: body})
}

// proposalSubject joins the readings with what the basis of the proposal knows: a record that is
// repeated lends all that was not measured, a lamination that is scaled lends itself without the
// stack, any other basis only the counts that the coils need.
func (s *server) proposalSubject(ctx context.Context, req matchRequest, p proposalRow) (subject, string) {
	q := req.toDomain()
	sub := subject{status: catalog.StatusEstimated, input: winding.AnalysisInput{Core: q.Measurements, Nameplate: q.Nameplate, Supply: q.Supply, MotorType: q.MotorType}}
	if len(p.From) == 0 {
		return sub, ""
	}
	w, err := s.Windings.Winding(ctx, p.From[0].ID)
	if err != nil {
		return sub, ""
	}
	var family *catalog.Family
	if found, err := s.Families.Family(ctx, w.FamilyID); err == nil {
		family, sub.application = &found, found.Application
	}
	lent := catalog.CoreOfRecord(w, family)
	switch p.Basis.Method {
	case "record":
		sub.status = w.Status
		if sub.input.Nameplate == nil {
			sub.input.Nameplate = &w.Nameplate
		}
	case "scaled":
		lent.StackLength = q.Measurements.StackLength
	default:
		lent = countsOf(lent)
	}
	sub.input.MotorType = cmp.Or(sub.input.MotorType, w.MotorType)
	sub.input.Core = catalog.CoreOfRecord(catalog.Winding{CoreAsMeasured: &lent}, &catalog.Family{Core: sub.input.Core})
	return sub, w.Slug
}

// countsOf keeps of a core what is counted and not measured.
func countsOf(c stator.Core) stator.Core {
	counts := stator.Core{Phases: c.Phases, RotorPosition: c.RotorPosition, Slots: c.Slots}
	if c.SecondRing != nil {
		counts.SecondRing = &stator.Ring{Slots: c.SecondRing.Slots}
	}
	return counts
}

// asRead takes the readings as the match read them, where that is likelier than what was typed, and lists those.
func (s *server) asRead(f *form, req matchRequest, a match.Answer) (matchRequest, []readAsRow) {
	var taken []readAsRow
	for _, r := range a.Readings {
		if r.Probability > likelierThanNot && f.values[r.Field] != "" {
			taken = append(taken, f.readAs(s.pages.texts, r))
			f.values[r.Field], f.values[r.Field+withSuffix] = plain(r.ReadAs), instruments[0].Name
		}
	}
	var again matchRequest
	if len(taken) == 0 || f.decode(s.pages.texts, &again, nil) != nil || f.bad() {
		return req, nil
	}
	return again, taken
}

// proposalTitle names a proposal by its core too: its sheets lie about on a bench beside others.
func (t texts) proposalTitle(n int, c stator.Core) string {
	size := ""
	if c.Slots > 0 {
		size = fmt.Sprintf(t["proposal.slots"], c.Slots)
	}
	gap, stack := bundle.M{Measured: c.GapDiameter}, bundle.M{Measured: c.StackLength}
	if gap.Given {
		size = joined(", ", size, fmt.Sprintf(t["proposal.gap"], gap.Digits()))
	}
	if stack.Given {
		size = joined(", ", size, fmt.Sprintf(t["proposal.stack"], stack.Digits()))
	}
	return joined(": ", fmt.Sprintf(t["candidates.proposal"], n), size)
}

// setsOf joins each coil set of a winding with what was computed and, for a proposal, its ranges.
func setsOf(work workView, proposed []proposedSetView) []setView {
	sets := make([]setView, len(work.Scheme.CoilSets))
	for i, set := range work.Scheme.CoilSets {
		v := setView{CoilSet: set}
		if i < len(proposed) {
			v.Proposed = &proposed[i]
		}
		if i < len(work.Coils) {
			v.Coils = len(work.Coils[i].Coils)
		}
		if p := set.Pattern; p != nil {
			for k, throw := range p.Throws {
				t := throwView{Throw: fmt.Sprintf("1–%d", throw)}
				if k < len(p.Turns) {
					t.Turns = p.Turns[k]
				}
				if v.Proposed != nil && k < len(v.Proposed.TurnsPerCoil) {
					t.Range = &v.Proposed.TurnsPerCoil[k]
				}
				v.Throws = append(v.Throws, t)
			}
		}
		if work.Analysis != nil {
			for k := range work.Analysis.Roles {
				if work.Analysis.Roles[k].Set == i {
					v.Figures = &work.Analysis.Roles[k]
				}
			}
		}
		sets[i] = v
	}
	return sets
}

// Join writes the list of the coils' slots and turns in a few characters each.
func (v coilsView) Join() string {
	parts := each(v.Coils, func(c winding.Coil) string { return fmt.Sprintf("%d → %d × %s", c.In, c.Out, num(c.Turns)) })
	return strings.Join(parts, ", ")
}
