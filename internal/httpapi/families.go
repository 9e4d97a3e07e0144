package httpapi

import (
	"strconv"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"

	"github.com/gin-gonic/gin"
)

// paramsFamilies are the query parameters of the list: filters, a window for each dimension, paging.
var paramsFamilies = func() []string {
	names := []string{"phases", "rotor_position", "slots", "poles", "application", "state", "institute", "page_size", "page_token"}
	for _, d := range catalog.Dimensions() {
		names = append(names, "min_"+string(d), "max_"+string(d))
	}
	return names
}()

// The bounds of counts and dimensions in filters; they are those of the Core shape.
const (
	slotsMin, slotsMax = 2, 360
	polesMin, polesMax = 1, 120
	lengthMax          = 10000
)

// pageOf is a page of records with the way to the next one.
type pageOf[T any] struct {
	Items []T `json:"items"`
	pageEnd
}

// getFamily answers GET /v1/stator-families/{id}.
func (s *server) getFamily(c *gin.Context, q *query) error {
	return s.sendOne(c, q, catalog.KindFamily)
}

// family reads a family by UUID or slug.
func (s *server) family(c *gin.Context, ref string) (catalog.Family, error) {
	if err := unknownRecord("stator family", ref); err != nil {
		return catalog.Family{}, err
	}
	f, err := s.Families.Family(c.Request.Context(), ref)
	if errs.KindOf(err) == errs.KindNotFound {
		err = noRecord("stator family", ref)
	}
	return f, err
}

// listFamilies answers GET /v1/stator-families.
func (s *server) listFamilies(c *gin.Context, q *query) error {
	filter := readFamilyFilter(q)
	if private(filter.State) {
		return s.listDrafts(c, q, catalog.KindFamily, filter.State, "", filter.Institute)
	}
	size, after := s.readPage(q, c.Request.URL.Path)
	if err := q.err(); err != nil {
		return err
	}
	page, err := s.Families.Families(c.Request.Context(), filter, catalog.PageRequest{After: after, Size: size})
	if err != nil {
		return err
	}
	return sendRecords(s, c, q, page, viewFamily)
}

// sendRecords answers with a page of records.
func sendRecords[D, V any](s *server, c *gin.Context, q *query, page catalog.Page[D], view func(D) (V, error)) error {
	out := pageOf[V]{Items: make([]V, 0, len(page.Items))}
	for _, item := range page.Items {
		v, err := view(item)
		if err != nil {
			return err
		}
		out.Items = append(out.Items, v)
	}
	if page.Next != "" {
		out.pageEnd = s.pageEnd(c, q, page.Next)
	}
	return sendTagged(c, out, "", cacheCheck)
}

// readFamilyFilter reads the filters of the list.
func readFamilyFilter(q *query) catalog.FamilyFilter {
	f := catalog.FamilyFilter{
		RotorPosition: stator.RotorPosition(q.enum("rotor_position", string(stator.RotorInside), string(stator.RotorOutside))),
		Slots:         q.whole("slots", slotsMin, slotsMax), Poles: q.whole("poles", polesMin, polesMax), Application: q.enum("application", catalog.Applications...),
	}
	if phases := q.enum("phases", "1", "3"); phases != "" {
		f.Phases, _ = strconv.Atoi(phases)
	}
	for _, d := range catalog.Dimensions() {
		low, hasLow := q.number("min_"+string(d), 0, lengthMax)
		high, hasHigh := q.number("max_"+string(d), 0.001, lengthMax)
		if hasLow && hasHigh && low > high {
			q.refuse("min_"+string(d), codeWindow, "min_"+string(d)+" is above max_"+string(d)+".", nil, q.values["min_"+string(d)])
		}
		if hasLow || hasHigh {
			f.Windows = append(f.Windows, catalog.Window{Dimension: d, Low: unit.Millimetre(low), High: unit.Millimetre(high)})
		}
	}
	f.State, f.Institute = readStanding(q)
	return f
}

// viewFamily is the one form of a family, in lists and alone, tag included.
func viewFamily(f catalog.Family) (bundle.Family, error) {
	v := bundle.FamilyOf(f)
	err := tagRecord(f, v, &v.ETag)
	return v, err
}
