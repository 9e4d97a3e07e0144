package bundle

import (
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/jsonin"
	"statorbook/internal/wire"
)

// numberTag is what the tags say about one number of a record.
type numberTag struct {
	jsonin.Field
	whole bool
}

// numbers walks a shape and collects its numbers by dotted name, [] for any index.
func numbers(t *testing.T, typ reflect.Type, under string, into map[string]numberTag) {
	t.Helper()
	fields, err := jsonin.Fields(typ)
	require.NoError(t, err)
	byName := map[string]reflect.Type{}
	memberTypes(typ, byName)
	for _, f := range fields {
		name, member := under+f.Name, byName[f.Name]
		for member.Kind() == reflect.Pointer || member.Kind() == reflect.Slice {
			if member.Kind() == reflect.Slice {
				name += "[]"
			}
			member = member.Elem()
		}
		switch {
		case member == typeM, member.Kind() == reflect.Float64:
			into[name] = numberTag{f, false}
		case member.Kind() == reflect.Int:
			into[name] = numberTag{f, true}
		case member.Kind() == reflect.Struct && member.Name() != "Time" && member != reflect.TypeFor[Finding]():
			numbers(t, member, name+".", into)
		}
	}
}

func memberTypes(typ reflect.Type, into map[string]reflect.Type) {
	for i := range typ.NumField() {
		f := typ.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" {
			memberTypes(f.Type, into)
			continue
		}
		into[name] = f.Type
	}
}

// The tags of the decoder and the table of bounds say the same, both ways.
func TestTagsAreTheBounds(t *testing.T) {
	t.Parallel()
	tags := map[string]numberTag{}
	numbers(t, reflect.TypeFor[Winding](), "", tags)
	numbers(t, reflect.TypeFor[Family](), "", tags)
	for name, tag := range tags {
		if name == "base_revision" || name == "open_problem_reports" { // for readers of answers; no record holds them
			continue
		}
		b, known := catalog.BoundOf(name)
		require.True(t, known, "%s has no bound", name)
		require.Equal(t, b.Whole, tag.whole, name)
		if tag.Enum != nil {
			require.Equal(t, []string{"1", "3"}, tag.Enum, name)
			continue
		}
		require.NotNil(t, tag.Min, name)
		require.NotNil(t, tag.Max, name)
		require.Equal(t, b.Min, *tag.Min, name)
		require.Equal(t, b.Max, *tag.Max, name)
		if b.Unit != "1" {
			require.Equal(t, b.Unit, OwnUnit(&tag.Field), name)
		}
	}
	for _, b := range catalog.Bounds() {
		require.Contains(t, tags, b.Name, "the bound is of no number")
	}
}

// The closed word lists of the decoder are those of catalog.
func TestTagsAreTheWords(t *testing.T) {
	t.Parallel()
	words := map[string][]string{}
	for _, typ := range []reflect.Type{reflect.TypeFor[Winding](), reflect.TypeFor[Family](), reflect.TypeFor[CoilSet]()} {
		fields, err := jsonin.Fields(typ)
		require.NoError(t, err)
		for _, f := range fields {
			words[f.Name] = f.Enum
		}
	}
	require.Equal(t, catalog.Applications, words["application"])
	require.Equal(t, catalog.MotorTypes, words["motor_type"])
	require.Equal(t, catalog.Origins, words["origin"])
	require.Equal(t, catalog.Bindings, words["binding"])
	require.Equal(t, catalog.Qualities, words["quality"])
	require.Equal(t, catalog.MassStates, words["mass_state"])
	require.Equal(t, catalog.Joinings, words["joining"])
	for _, s := range catalog.States() {
		require.Contains(t, words["state"], string(s))
	}
	require.Len(t, words["state"], len(catalog.States()))
	for _, s := range catalog.Statuses() {
		require.Contains(t, words["status"], string(s))
	}
	require.Len(t, words["status"], len(catalog.Statuses()))
	for _, b := range wire.Builds() {
		fields, err := jsonin.Fields(reflect.TypeFor[Wire]())
		require.NoError(t, err)
		require.True(t, slices.ContainsFunc(fields, func(f jsonin.Field) bool { return f.Name == "build" && slices.Contains(f.Enum, string(b)) }), b)
	}
	for _, slug := range []string{"demo-fan-1", "ab", "Demo", "a--b", drawnUUID, strings.Repeat("a", 101), "1-a"} {
		require.Equal(t, catalog.ValidSlug(slug), jsonin.IsSlug(slug), slug)
	}
}

// The lint takes every record of the sample worlds, gross errors of measurement included.
func TestLintTakesTheWorlds(t *testing.T) {
	t.Parallel()
	var sizes []wire.Size
	for _, l := range readAll(t, openFile(t, filepath.Join("..", "..", "seeds", "wires.jsonl"))) {
		if l.Kind == KindWire {
			sizes = append(sizes, l.Wire.ToDomain())
		}
	}
	table, err := wire.NewTable(sizes)
	require.NoError(t, err)
	for _, world := range []string{"plain", "perturbed"} {
		families := map[string]catalog.Family{}
		for _, l := range readAll(t, openFile(t, filepath.Join(samples, world+"-catalogue.jsonl"))) {
			switch l.Kind {
			case KindFamily:
				families[l.ID] = l.Family.ToDomain()
				require.NoError(t, catalog.LintFamily(families[l.ID], catalog.LintOptions{}).Err())
			case KindWinding:
				f := families[l.Winding.FamilyID]
				lint := catalog.LintWinding(l.Winding.ToDomain(), catalog.LintOptions{Wires: table, Family: &f})
				require.NoError(t, lint.Err(), l.ID)
			}
		}
	}
}
