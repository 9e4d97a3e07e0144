package score

import (
	"regexp"
	"strconv"
	"strings"
)

// sources tell where a reference has the figure of a Measure: the word that starts the line, and what
// stands before the figure.
var sources = []struct {
	key   string
	group string
	pre   *regexp.Regexp
}{
	{"core_top1", "core_known", before(`core top-1`)},
	{"core_top3", "core_known", before(`core top-1 +\S+ top-3`)},
	{"record_top1", "record", before(`record top-1`)},
	{"record_top3", "record", before(`record top-1 +\S+ top-3`)},
	{"log_loss", "ECE", before(`log loss`)},
	{"auc_core", "ECE", before(`AUC not-in-catalogue: core`)},
	{"auc_record", "ECE", before(`AUC not-in-catalogue: core +\S+ record`)},
	{"ece_record", "ECE", before(`ECE record`)},
	{"ece_core", "ECE", before(`ECE record +\S+ core`)},
	{"ece_first", "ECE", before(`core +\S+ proposal`)},
	{"first_right", "all", before(`proposal 1`)},
	{"one_of_three", "all", before(`proposal 1 +\S+ of 3`)},
	{"new_one_of_three", "not_in_catalogue", before(`proposal 1 +\S+ of 3`)},
	{"new_turns_p90", "not_in_catalogue", before(`turns P50 +\S+ P90`)},
	{"cover_turns", "all", before(`cover turns`)},
	{"cover_area", "all", before(`cover turns +\S+ area`)},
}

func before(words string) *regexp.Regexp { return regexp.MustCompile(words + ` +([0-9.]+)`) }

// ReadReference reads what a reference reached on a world, in the form of the scores.txt that comes
// with a world: lines that start with a group of queries and hold "name figure" pairs. Only the first
// paragraph counts, and its first line names the reference. It gives nil if it finds no figure.
func ReadReference(text string) (title string, ref Reference) {
	first, _, _ := strings.Cut(strings.ReplaceAll(text, "\r\n", "\n"), "\n\n")
	title, _, _ = strings.Cut(first, "\n")
	for line := range strings.Lines(first) {
		group, _, _ := strings.Cut(line, " ")
		for _, s := range sources {
			if s.group != group {
				continue
			}
			if found := s.pre.FindStringSubmatch(line); found != nil {
				if v, err := strconv.ParseFloat(found[1], 64); err == nil {
					if ref == nil {
						ref = Reference{}
					}
					ref[s.key] = v
				}
			}
		}
	}
	return strings.TrimSuffix(strings.TrimSpace(title), ":"), ref
}
