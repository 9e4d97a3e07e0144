package score

import (
	"fmt"
	"math"
	"strings"
)

// Curve is one set of forecasts in a reliability diagram.
type Curve struct {
	Title     string
	Forecasts []Forecast
}

// Curves are the three probabilities that a technician reads first.
func (s Outcomes) Curves() []Curve {
	return []Curve{{"record named first", s.RecordForecasts()}, {"core named first", s.CoreForecasts()}, {"first proposal", s.GuessForecasts()}}
}

// textWidth is 0 to 100 % in characters.
const textWidth = 50

// Text draws the curve: for each bin a "|" where the mean probability lies and an "o" where the share
// that came true does; "@" where both fall together. A calibrated forecast has them together.
func (c *Curve) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-20s cases   said  came true  0%%%*s\n", c.Title, textWidth-1, "100%")
	for _, bin := range Reliability(c.Forecasts) {
		if bin.N == 0 {
			continue
		}
		row := []byte(strings.Repeat(".", textWidth+1))
		said, came := column(bin.Mean), column(bin.Share)
		row[said], row[came] = '|', 'o'
		if said == came {
			row[said] = '@'
		}
		fmt.Fprintf(&b, "   said %3.0f to %3.0f %% %6d  %5.1f      %5.1f  %s\n", 100*bin.Low, 100*bin.High, bin.N, 100*bin.Mean, 100*bin.Share, row)
	}
	return b.String()
}

func column(p float64) int { return int(math.Round(p * textWidth)) }

// The drawing: a square of side from the corner at left, top.
const (
	svgSide           = 400.0
	svgLeft, svgTop   = 70.0, 50.0
	svgWidth, svgHigh = 640, 520
)

// mark draws one point of a curve at x, y with radius r: a circle, a square, a triangle.
var marks = []func(x, y, r float64) string{
	func(x, y, r float64) string { return fmt.Sprintf(`<circle cx="%.1f" cy="%.1f" r="%.1f"/>`, x, y, r) },
	func(x, y, r float64) string {
		return fmt.Sprintf(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, x-r, y-r, 2*r, 2*r)
	},
	func(x, y, r float64) string {
		return fmt.Sprintf(`<path d="M%.1f %.1fL%.1f %.1fL%.1f %.1fZ"/>`, x, y-r, x-r, y+r, x+r, y+r)
	},
}

var inks = []string{"#1b4f72", "#9a3412", "#3f6212"}

// SVG draws a reliability diagram: the share that came true over the probability stated, with bars of
// two standard errors; on the diagonal both are the same. The same curves give the same bytes. Only
// the first three curves are drawn.
func SVG(title string, curves []Curve) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif" font-size="13" role="img"><title>%s</title>`+"\n", svgWidth, svgHigh, escaped(title))
	b.WriteString(`<rect width="100%" height="100%" fill="#fff"/>` + "\n")
	fmt.Fprintf(&b, `<text x="%g" y="28" font-size="15">%s</text>`+"\n", svgLeft, escaped(title))
	b.WriteString(`<g stroke="#ccc" fill="none">` + "\n")
	for i := 0; i <= 10; i += 2 {
		x, y := at(float64(i)/10, float64(i)/10)
		fmt.Fprintf(&b, `<path d="M%.1f %gV%gM%g %.1fH%g"/>`+"\n", x, svgTop, svgTop+svgSide, svgLeft, y, svgLeft+svgSide)
	}
	x0, y0 := at(0, 0)
	x1, y1 := at(1, 1)
	fmt.Fprintf(&b, `<path stroke="#555" stroke-dasharray="4 4" d="M%.1f %.1fL%.1f %.1f"/></g>`+"\n", x0, y0, x1, y1)
	for i := 0; i <= 10; i += 2 {
		x, y := at(float64(i)/10, float64(i)/10)
		fmt.Fprintf(&b, `<text x="%.1f" y="%g" text-anchor="middle">%d</text><text x="%g" y="%.1f" text-anchor="end">%d</text>`+"\n", x, svgTop+svgSide+18, 10*i, svgLeft-8, y+4, 10*i)
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="middle">probability stated, %%</text>`+"\n", svgLeft+svgSide/2, svgTop+svgSide+42)
	fmt.Fprintf(&b, `<text transform="translate(24 %g) rotate(-90)" text-anchor="middle">came true, %%</text>`+"\n", svgTop+svgSide/2)
	for i, c := range curves[:min(len(curves), len(marks))] {
		c.draw(&b, i)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// draw adds one curve and its line in the key.
func (c *Curve) draw(b *strings.Builder, i int) {
	fmt.Fprintf(b, `<g fill="%s" stroke="%s">`+"\n", inks[i], inks[i])
	line := ""
	for _, bin := range Reliability(c.Forecasts) {
		if bin.N == 0 {
			continue
		}
		x, y := at(bin.Mean, bin.Share)
		se := math.Sqrt(bin.Share * (1 - bin.Share) / float64(bin.N))
		_, low := at(bin.Mean, math.Max(bin.Share-2*se, 0))
		_, high := at(bin.Mean, math.Min(bin.Share+2*se, 1))
		fmt.Fprintf(b, `<path d="M%.1f %.1fV%.1f"/>%s`+"\n", x, low, high, marks[i](x, y, 3+math.Log10(float64(bin.N))))
		line += fmt.Sprintf("%s%.1f %.1f", step(line), x, y)
	}
	fmt.Fprintf(b, `<path fill="none" d="%s"/>%s<text stroke="none" x="%g" y="%g">%s</text></g>`+"\n", line, marks[i](svgLeft+svgSide+22, svgTop+20*float64(i+1)-4, 5), svgLeft+svgSide+34, svgTop+20*float64(i+1), escaped(c.Title))
}

func step(line string) string {
	if line == "" {
		return "M"
	}
	return "L"
}

// at maps probabilities to the drawing.
func at(p, share float64) (x, y float64) { return svgLeft + svgSide*p, svgTop + svgSide*(1-share) }

func escaped(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}
