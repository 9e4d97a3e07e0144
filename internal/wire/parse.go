package wire

import (
	"math"
	"strconv"
	"strings"
)

// MaxSizeText is the longest size text that is read.
const MaxSizeText = 32

// sizeError is a reason why a size text cannot be read, one sentence with the remedy.
type sizeError string

func (e sizeError) Error() string { return string(e) }

// ParseSize brings a size text to the form that the tables use: "4/0", "34", "0.500". Case and
// blanks around it do not matter, and the name of its own system may stand before or after it
// ("AWG 4/0", "34 swg", "0.5 mm" for metric). Ought sizes may be written 4/0, 4-0 or 0000; 0 is 1/0.
// Everything else is refused with a sentence: signs, leading zeros (012), fractions such as 00/0,
// decimal commas. A text that reads well may still name no size: see (*Table).Find.
func ParseSize(s System, text string) (string, error) {
	if len(text) > MaxSizeText {
		return "", sizeError("a size has at most 32 characters")
	}
	body, err := stripSystem(s, strings.ToLower(strings.TrimSpace(text)))
	if err != nil {
		return "", err
	}
	if body == "" {
		return "", sizeError("the size is empty")
	}
	switch s {
	case SWG, AWG:
		return parseGauge(body)
	case Metric:
		return parseMetric(body)
	}
	return "", sizeError("the system must be swg, awg or metric; a free bare diameter has no size")
}

// systemIn gives the system that a size text names itself ("36 SWG", "AWG 4/0", "0.5 mm"), "" if it names none.
func systemIn(text string) System {
	body := strings.ToLower(strings.TrimSpace(text))
	for _, s := range []System{SWG, AWG} {
		if strings.HasPrefix(body, string(s)) || strings.HasSuffix(body, string(s)) {
			return s
		}
	}
	if strings.HasSuffix(body, "mm") {
		return Metric
	}
	return ""
}

// stripSystem takes the system's own name off either end. The name of another system is a contradiction, not noise.
func stripSystem(s System, body string) (string, error) {
	for _, word := range []string{string(SWG), string(AWG), "mm"} {
		rest, before := strings.CutPrefix(body, word)
		if !before {
			var after bool
			if rest, after = strings.CutSuffix(body, word); !after {
				continue
			}
		}
		own := word == string(s) || word == "mm" && s == Metric
		if !own {
			return "", sizeError("the size names " + strings.ToUpper(word) + ", but the system is " + string(s))
		}
		if before && word == "mm" {
			return "", sizeError("write the unit after the figure, as in 0.500 mm")
		}
		return strings.TrimSpace(rest), nil
	}
	return body, nil
}

// parseGauge reads a gauge number or an ought size.
func parseGauge(body string) (string, error) {
	if strings.Trim(body, "0") == "" { // 0, 00, 000 …
		if len(body) > 7 {
			return "", sizeError("more than seven noughts name no gauge")
		}
		return strconv.Itoa(len(body)) + "/0", nil
	}
	if head, tail, ok := cutOught(body); ok {
		if tail != "0" || len(head) != 1 || head[0] < '1' || head[0] > '7' {
			return "", sizeError("an ought size is written 4/0, 4-0 or 0000")
		}
		return head + "/0", nil
	}
	for i, c := range body {
		switch {
		case c == '.' && i > 0 && i < len(body)-1 && strings.Count(body, ".") == 1:
		case c < '0' || c > '9':
			return "", sizeError("a gauge is a whole number, or an ought size written 4/0, 4-0 or 0000")
		}
	}
	if body[0] == '0' {
		return "", sizeError("a gauge has no leading zero: write 12 for 12, 2/0 for 00")
	}
	return body, nil
}

// cutOught splits "4/0" and "4-0".
func cutOught(body string) (head, tail string, ok bool) {
	if head, tail, ok = strings.Cut(body, "/"); ok {
		return head, tail, true
	}
	if head, tail, ok = strings.Cut(body, "-"); ok && head != "" {
		return head, tail, true
	}
	return "", "", false
}

// parseMetric reads a diameter in mm and writes it with three decimals at least.
func parseMetric(body string) (string, error) {
	whole, frac, point := strings.Cut(body, ".")
	switch {
	case strings.Contains(body, ","):
		return "", sizeError("write the diameter with a decimal point, as in 0.500")
	case point && frac == "", strings.Trim(whole, "0123456789") != "", strings.Trim(frac, "0123456789") != "", whole == "":
		return "", sizeError("a metric size is the diameter in mm, as in 0.500")
	case len(whole) > 1 && whole[0] == '0':
		return "", sizeError("a metric size has one zero before the point, as in 0.500")
	}
	frac = strings.TrimRight(frac, "0")
	for len(frac) < 3 {
		frac += "0"
	}
	return whole + "." + frac, nil
}

// SizeID returns the id of a size: swg-34, awg-4-0, metric-0.500. The size must be in the form that ParseSize returns.
func SizeID(s System, size string) string {
	return string(s) + "-" + strings.ReplaceAll(size, "/", "-")
}

// gaugeIndex turns a gauge text into a number that falls with thickness: 34 is 34, 1/0 is 0, 4/0 is
// -3. NaN for a text that is no gauge.
func gaugeIndex(size string) float64 {
	if head, ok := strings.CutSuffix(size, "/0"); ok {
		n, err := strconv.Atoi(head)
		if err != nil {
			return math.NaN()
		}
		return float64(1 - n)
	}
	n, err := strconv.ParseFloat(size, 64)
	if err != nil {
		return math.NaN()
	}
	return n
}
