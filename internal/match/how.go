package match

// HowToMeasure is the trade's way to measure a dimension, by its dotted name; "" for a name without one.
func HowToMeasure(field string) string {
	for _, d := range dims {
		if d.field == field {
			return d.how
		}
	}
	return ""
}
