package score

import (
	"encoding/xml"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
)

func row(t *testing.T, table, start string) []string {
	t.Helper()
	for line := range strings.Lines(table) {
		if rest, ok := strings.CutPrefix(line, start); ok {
			return regexp.MustCompile(` {2,}`).Split(strings.TrimSpace(rest), -1)
		}
	}
	t.Fatalf("no line %q in\n%s", start, table)
	return nil
}

func TestTable(t *testing.T) {
	t.Parallel()
	ours := &Result{Outcomes: sample()}
	other := &Result{Outcomes: sample().Of(Record)}
	columns := []Column{{"ours", ours}, {"simple", other}}
	table := Table(columns, nil)
	require.Equal(t, []string{"5", "80.0", "17.9", ">= 90.0", "NO", "80.0"}, row(t, table, "record named first, where it is catalogued, %"), "√(0.8 · 0.2/5) = 0.179")
	require.Equal(t, []string{"5", "100.0", ">= 98.0", "yes", "100.0"}, row(t, table, "record among the first three, %"))
	require.Equal(t, []string{"0", "-", ">= 85.0", "-", "-"}, row(t, table, "slips found, mean of the kinds, 1 % false alarms"), "what was not measured is not kept, nor broken")
	require.Equal(t, []string{"8", "75.0", "15.3", "93.0 to 99.0", "NO", "100.0"}, row(t, table, "90 % interval holds the turns, %"))
	require.Equal(t, len(measures)+1, strings.Count(table, "\n"))
	require.NotContains(t, table, " \n", "no blanks at line ends")

	beside := Table(columns, Reference{"record_top1": 81, "ece_record": 0.02})
	require.Equal(t, []string{"5", "80.0", "17.9", ">= 90.0", "NO", "81.0", ">= 79.50", "yes", "80.0"}, row(t, beside, "record named first, where it is catalogued, %"))
	require.Equal(t, "0.020", row(t, beside, "calibration error, record")[4])
	require.Equal(t, "-", row(t, beside, "log loss (this record, or none)")[5])
}

func TestKindsAndSlipsTables(t *testing.T) {
	t.Parallel()
	kinds := KindsTable(sample())
	require.Equal(t, []string{"5", "80.0", "80.0", "0.546", "80.0", "100.0", "0.000", "0.000", "100.0", "80.0"}, row(t, kinds, "record "))
	require.Equal(t, "0.400", row(t, kinds, "new_family")[6])
	none := Outcomes{judge(Answer{}, Truth{Kind: NewStack, SeriesTurns: 1, ConductorArea: 1})}
	require.Equal(t, "none", row(t, KindsTable(none), "new_stack")[6], "no estimate at all")

	s := JudgeSlips([]Checked{{Odds: 1}, {Odds: 2}, {"r_digit_swap", "r_digit_swap", 3}, {"material_wrong", "", 0}})
	text := SlipsTable(s)
	require.Equal(t, []string{"1", "100.0", "100.0", "100.0"}, row(t, text, "r_digit_swap"))
	require.Equal(t, []string{"1", "0.0", "0.0", "-"}, row(t, text, "material_wrong *"))
	require.Equal(t, []string{"2", "100.0", "100.0"}, row(t, text, "mean of the kinds"))
	require.Contains(t, text, "not one of the 22 kinds")
	require.Contains(t, text, "2 clean sheets")
}

func TestCurveText(t *testing.T) {
	t.Parallel()
	c := Curve{"core", []Forecast{{0.9, true}, {0.9, true}, {0.5, true}, {0.5, false}}}
	require.Equal(t, "core                 cases   said  came true  0%                                             100%\n"+
		"   said  50 to  60 %      2   50.0       50.0  "+strings.Repeat(".", 25)+"@"+strings.Repeat(".", 25)+"\n"+
		"   said  90 to 100 %      2   90.0      100.0  "+strings.Repeat(".", 45)+"|....o\n", c.Text())
}

// TestSVG: well-formed, the same again, titles escaped, one mark for each bin that has forecasts.
func TestSVG(t *testing.T) {
	t.Parallel()
	curves := sample().Curves()
	text := SVG("a < b & c", curves)
	require.Equal(t, text, SVG("a < b & c", sample().Curves()))
	require.NotContains(t, text, "NaN")
	d := xml.NewDecoder(strings.NewReader(text))
	circles := 0
	for {
		tok, err := d.Token()
		if err != nil {
			require.EqualError(t, err, "EOF")
			break
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "circle" {
			circles++
		}
	}
	bins := 0
	for _, b := range Reliability(curves[0].Forecasts) {
		if b.N > 0 {
			bins++
		}
	}
	require.Equal(t, bins+1, circles, "and one in the key")
	require.Contains(t, text, "a &lt; b &amp; c")
	require.NotPanics(t, func() { SVG("", append(curves, curves...)) })
	require.NotContains(t, SVG("", []Curve{{"empty", nil}}), "NaN")
}

func TestReadReference(t *testing.T) {
	t.Parallel()
	title, ref := ReadReference(`The best (true noise) on this world:
queries 1500, without an answer 0
all              n  1500 | core top-1  73.5 top-3  75.2 | record top-1  64.3 top-3  69.3 | turns P50 0.000 P90 0.126 in5%  78.3 in10%  87.0 | d P50 0.000 P90 0.096 SWG+-1  94.3 | proposal 1  78.8 of 3  93.8 | 90% cover turns  96.3 area  96.1
core_known       n  1128 | core top-1  97.8 top-3 100.0 | record top-1  85.5 top-3  92.1 | turns P50 0.000 P90 0.049
not_in_catalogue n   372 | core top-1   0.0 top-3   0.0 | turns P50 0.066 P90 0.228 in5%  42.5 | proposal 1  39.5 of 3  79.3 | 90% cover turns  89.8 area  89.8
record           n  1048 | core top-1  98.0 top-3 100.0 | record top-1  92.1 top-3  99.1 | turns P50 0.000
ECE record 0.023 core 0.012 proposal 0.025 | Brier 0.046 | log loss 0.210 | AUC not-in-catalogue: core 0.9913 record 0.9905

Another one:
core_known       n  1128 | core top-1  11.1 top-3 22.2
`)
	require.Equal(t, "The best (true noise) on this world", title)
	require.Equal(t, Reference{
		"core_top1": 97.8, "core_top3": 100, "record_top1": 92.1, "record_top3": 99.1, "log_loss": 0.21, "auc_core": 0.9913, "auc_record": 0.9905,
		"ece_record": 0.023, "ece_core": 0.012, "ece_first": 0.025, "first_right": 78.8, "one_of_three": 93.8, "new_one_of_three": 79.3, "new_turns_p90": 0.228,
		"cover_turns": 96.3, "cover_area": 96.1,
	}, ref)
	for key := range ref {
		measured(t, &Result{}, key) // each is a measure
	}
	_, ref = ReadReference("something else\nin another form\n")
	require.Nil(t, ref)
	_, ref = ReadReference("")
	require.Nil(t, ref)
}

func TestFigure(t *testing.T) {
	t.Parallel()
	require.Equal(t, "1.50", figure(1.5, 2))
	require.Equal(t, "-", figure(math.NaN(), 2))
	require.Equal(t, "none", figure(math.Inf(1), 2))
	require.Equal(t, "0.5 to 0.7", band(Band{0.5, 0.7}, 1))
	require.True(t, covers(&unit.Range{P05: 1, P95: 2}, 2, 0))
}
