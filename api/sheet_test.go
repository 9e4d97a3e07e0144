package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The demo records go out as a sheet and come back as the same records; a changed and a new row are told
// apart; nothing is stored without -apply.
func TestSheetRoundTrip(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	code, _, errOut := runCommand(t, env, "", "seed")
	require.Equal(t, 0, code, errOut)
	file := filepath.Join(t.TempDir(), "demo.csv")
	code, _, errOut = runCommand(t, env, "", "export", "-csv", file)
	require.Equal(t, 0, code, errOut)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	sheet := string(data)
	require.True(t, strings.HasPrefix(sheet, "id,slug,revision,state,status,institute,demo,"))
	code, out, errOut := runCommand(t, env, "", "import", "-csv", "-strict", file)
	require.Equal(t, 0, code, out+errOut)
	require.Contains(t, out, " 0 rows cannot be read\n")
	require.Contains(t, out, "new 0 ")
	require.Contains(t, out, "conflicting 0, refused 0")
	require.NotContains(t, out, "same 0")
	require.NotContains(t, out, "nothing was stored", "there is nothing to store")

	rows := strings.SplitAfterN(sheet, "\r\n", 3)
	changed := rows[0] + strings.Replace(rows[1], ",CC0-1.0", ",CC-BY-4.0", 1)
	require.NotEqual(t, rows[0]+rows[1], changed)
	code, out, errOut = runCommand(t, env, changed, "import", "-csv", "-apply", "-")
	require.Equal(t, 1, code, "a published revision cannot be rewritten")
	require.Contains(t, out, "row 2: conflicting winding ")
	require.Contains(t, errOut, "1 rows were not taken")
}

const byHand = "core_slots,core_gap_diameter_mm,poles,main_coils,main_wire_system,main_wire_size,main_wire_conductor,main_wire_strands,demo,source,licence,remarks\n" +
	"4,30.0,2,1-3:100 3-1:100,swg,34,copper,1,yes,demo bench record,CC0-1.0,'=good\n" +
	"4,\"30,0\",2,1-3:100 3-1:100,swg,34,copper,many,yes,demo bench record,CC0-1.0,bad\n"

func TestSheetByHand(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	code, out, errOut := runCommand(t, env, byHand, "import", "-csv", "-strict", "-apply", "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, `row 3: refused: column core_gap_diameter_mm: NOT_A_NUMBER: write the number with a decimal point and without thousands marks (there is "30,0")`)
	require.Contains(t, out, "row 3: refused: column main_wire_strands: NOT_A_NUMBER")
	require.Contains(t, errOut, "nothing was stored")

	code, out, errOut = runCommand(t, env, byHand, "import", "-csv", "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, "2 rows read, 1 rows cannot be read")
	require.Contains(t, out, "new 1 (would be stored (dry run))", errOut)
	require.Equal(t, 1, strings.Count(out, "nothing was stored"), out)
	code, out, _ = runCommand(t, env, byHand, "import", "-csv", "-apply", "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, "new 1 (stored)", out)
	code, out, _ = runCommand(t, env, byHand, "import", "-csv", "-apply", "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, "new 0 (stored), same 1", "the same sheet twice is the same record")
	code, out, _ = runCommand(t, env, "", "export", "-csv")
	require.Equal(t, 0, code)
	require.Contains(t, out, ",'=good", "the escape is put on again")
	require.NotContains(t, out, ",''=good")
	require.Contains(t, out, ",demo,")
}

func TestSheetUsage(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"import", "-columns", "x"}, {"import", "-csv", "-columns", "x"}, {"import", "-columns"},
		{"import", "-csv"}, {"export", "-csv", "a", "b"}} {
		code, _, errOut := runCommand(t, nil, "", args...)
		require.Equal(t, 2, code, args)
		require.Contains(t, errOut, "usage")
	}
	code, out, _ := runCommand(t, nil, "", "import", "-csv", "-columns")
	require.Equal(t, 0, code)
	require.Regexp(t, `core_gap_diameter_mm +number +mm +0\.01 to 10000`, out)
	require.Regexp(t, `main_wire_conductor +text +copper, aluminium`, out)

	code, out, errOut := runCommand(t, nil, "core_slot,colour of it\n", "import", "-csv", "-")
	require.Equal(t, 1, code)
	require.Contains(t, out, `row 1: column "core_slot": there is no such column; did you mean core_slots?`)
	require.Contains(t, out, `row 1: column "colour of it": `)
	require.Contains(t, errOut, "The sheet cannot be taken.")
	code, _, errOut = runCommand(t, nil, "", "import", "-csv", "-")
	require.Equal(t, 1, code)
	require.Contains(t, errOut, "empty")
}
