package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"

	"github.com/gin-gonic/gin"
)

type listOf[T any] struct {
	Items []T `json:"items"`
}

// getClass answers GET /v1/insulation-classes/{letter}.
func (s *server) getClass(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	snap, tables, err := s.tables()
	if err != nil {
		return err
	}
	d, found := tables.class[c.Param("letter")]
	if !found {
		return unknownClass(snap.Classes, c.Param("letter"))
	}
	return sendDocument(c, d)
}

// unknownClass refuses a letter and names the class that was probably meant.
func unknownClass(classes []insulation.Class, letter string) error {
	known := each(classes, func(c insulation.Class) string { return c.Letter })
	detail := "There is no thermal class " + printable(letter) + "."
	if meant, err := insulation.Find(classes, letter); err == nil {
		detail += " Did you mean " + meant.Letter + "?"
	}
	return errs.New(errs.KindNotFound, detail, errs.Field{Parameter: "letter", Code: codeUnknownID, Detail: detail, Allowed: known, Got: printable(letter)})
}

// listClasses answers GET /v1/insulation-classes.
func (s *server) listClasses(c *gin.Context, q *query) error {
	return s.sendTable(c, q, func(t *encodedTables) document { return t.classes })
}

// listMaterials answers GET /v1/insulating-materials.
func (s *server) listMaterials(c *gin.Context, q *query) error {
	return s.sendTable(c, q, func(t *encodedTables) document { return t.materials })
}

// sendTable answers with a whole small table.
func (s *server) sendTable(c *gin.Context, q *query, pick func(*encodedTables) document) error {
	if err := q.err(); err != nil {
		return err
	}
	_, tables, err := s.tables()
	if err != nil {
		return err
	}
	return sendDocument(c, pick(tables))
}

// encodeClasses encodes each class and their list.
func (t *encodedTables) encodeClasses(classes []insulation.Class) error {
	t.class = make(map[string]document, len(classes))
	list := listOf[bundle.InsulationClass]{Items: []bundle.InsulationClass{}}
	for _, class := range classes {
		v := bundle.InsulationClassOf(class)
		if err := tagged(v, &v.ETag); err != nil {
			return err
		}
		body, err := encodeJSON(v)
		if err != nil {
			return err
		}
		t.class[class.Letter] = document{body: body, tag: v.ETag, cache: cacheReference}
		list.Items = append(list.Items, v)
	}
	body, err := encodeJSON(list)
	t.classes = document{body: body, tag: tagOf(body), cache: cacheReference}
	return err
}

// encodeMaterials encodes the list of materials.
func (t *encodedTables) encodeMaterials(materials []insulation.Material) error {
	list := listOf[bundle.InsulatingMaterial]{Items: []bundle.InsulatingMaterial{}}
	for _, m := range materials {
		v := bundle.InsulatingMaterialOf(m)
		if err := tagged(v, &v.ETag); err != nil {
			return err
		}
		list.Items = append(list.Items, v)
	}
	body, err := encodeJSON(list)
	t.materials = document{body: body, tag: tagOf(body), cache: cacheReference}
	return err
}

// tagged sets *tag to the tag of v as it is without one.
func tagged(v any, tag *string) error {
	body, err := encodeJSON(v)
	*tag = tagOf(body)
	return err
}
