package match

import "fmt"

// sure is what no probability is told to be beyond, in words: the model itself is not surer of itself.
const sure = 0.999

// chance writes a probability into a sentence to a thousandth, and never as a certainty.
func chance(p float64) string {
	switch {
	case p > sure:
		return fmt.Sprintf("more than %g", sure)
	case p < 1-sure:
		return fmt.Sprintf("less than %.3g", 1-sure)
	}
	return fmt.Sprintf("%.3f", p)
}
