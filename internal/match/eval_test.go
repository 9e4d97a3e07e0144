package match

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/score"
)

// TestWorlds prints the whole table for the worlds in the folders that STATORBOOK_WORLD names,
// separated by commas. It asserts nothing by itself: TestSampleWorld holds the floors.
func TestWorlds(t *testing.T) {
	for _, dir := range strings.Split(os.Getenv("STATORBOOK_WORLD"), ",") {
		if dir == "" {
			continue
		}
		start := time.Now()
		w := loadWorld(t, dir)
		t.Logf("%s: %+v built in %v", dir, w.index.Stats(), time.Since(start))
		start = time.Now()
		r := score.Result{Outcomes: judged(&w, answers(t, &w, w.index, nil), nil)}
		t.Logf("%d queries, %v each", len(w.queries), time.Since(start)/time.Duration(len(w.queries)))
		start = time.Now()
		r.Slips = score.JudgeSlips(checked(&w, nil))
		t.Logf("%d record sheets, %v each\n%s\n%s\n%s", len(w.entries), time.Since(start)/time.Duration(len(w.entries)),
			score.Table([]score.Column{{Title: "ours", Result: &r}}, nil), score.KindsTable(r.Outcomes), score.SlipsTable(r.Slips))
		require.NotEmpty(t, r.Outcomes)
	}
}

// sampleFloors are held on the sample world: those demanded of a world of 2,000 records, 1,500 queries
// and 4,000 sheets, where this smaller sample allows it, and tighter ones where the sample is kind.
// They are figures of one fixed world, so that no chance is in them; the tests of faults show which
// fault each of them sees. Figures from which the log loss was set: 0.239 as it is, 0.256 without
// popularity.
var sampleFloors = map[string]score.Band{
	"core_top1": {Low: 96, High: 100}, "core_top3": {Low: 99, High: 100}, "record_top1": {Low: 90, High: 100}, "record_top3": {Low: 98, High: 100},
	"log_loss": {High: 0.25}, "auc_core": {Low: 0.98, High: 1}, "auc_record": {Low: 0.975, High: 1},
	"ece_record": {High: 0.035}, "ece_core": {High: 0.035}, "ece_first": {High: 0.045},
	"first_right": {Low: 76, High: 100}, "one_of_three": {Low: 91, High: 100}, "new_one_of_three": {Low: 72, High: 100}, "new_turns_p90": {High: 0.26},
	"cover_turns": {Low: 93, High: 99}, "cover_area": {Low: 93, High: 99}, "cover_turns_unlikely": {Low: 85, High: 97}, "cover_area_unlikely": {Low: 87, High: 97},
	"slips_1": {Low: 85, High: 100}, "slips_2": {Low: 87, High: 100},
}

// broken lists the floors of the sample world that a result does not keep.
func broken(r *score.Result) []string {
	var out []string
	for _, m := range score.Measures() {
		if !sampleFloors[m.Key].Holds(m.From(r)) {
			out = append(out, m.Key)
		}
	}
	slices.Sort(out)
	return out
}

// TestSampleWorld holds the floors on the sample world.
func TestSampleWorld(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	r := score.Result{Outcomes: judged(w, sampleAnswers(), nil), Slips: score.JudgeSlips(sampleChecked())}
	t.Logf("\n%s\n%s\n%s", score.Table([]score.Column{{Title: "ours", Result: &r}}, nil), score.KindsTable(r.Outcomes), score.SlipsTable(r.Slips))
	require.Len(t, sampleFloors, len(score.Measures()))
	require.Empty(t, broken(&r))
}
