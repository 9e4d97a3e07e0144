package diagram

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// width is the width of every drawing in its own units: a narrow phone, so that a text of 11 stays readable.
const width = 360.0

// canvas collects the elements of a drawing; the height is known only at the end.
type canvas struct {
	body bytes.Buffer
}

// point is a place in the drawing.
type point struct{ x, y float64 }

// polar gives the point at radius r around c, at a clockwise angle in degrees from the top.
func (c point) polar(r, deg float64) point {
	s, k := math.Sincos(deg * math.Pi / 180)
	return point{c.x + r*s, c.y - r*k}
}

// num writes a coordinate with two decimals at the most, and never as -0.
func num(v float64) string {
	s := strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

func (p point) String() string { return num(p.x) + " " + num(p.y) }

// escape makes text safe between tags and in attributes.
func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder never fails
	return b.String()
}

func (c *canvas) path(d, style string) { fmt.Fprintf(&c.body, "<path d=\"%s\" %s/>\n", d, style) }

func (c *canvas) line(a, b point, style string) { c.path("M"+a.String()+"L"+b.String(), style) }

func (c *canvas) circle(at point, r float64, style string) {
	fmt.Fprintf(&c.body, "<circle cx=\"%s\" cy=\"%s\" r=\"%s\" %s/>\n", num(at.x), num(at.y), num(r), style)
}

func (c *canvas) rect(at point, w, h float64, style string) {
	fmt.Fprintf(&c.body, "<rect x=\"%s\" y=\"%s\" width=\"%s\" height=\"%s\" %s/>\n", num(at.x), num(at.y), num(w), num(h), style)
}

// text writes a line of text. anchor is start, middle or end.
func (c *canvas) text(at point, size float64, anchor, s string) {
	fmt.Fprintf(&c.body, "<text x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\">%s</text>\n", num(at.x), num(at.y), num(size), anchor, escape(s))
}

// lines writes lines of text below each other from y on and returns the y after the last.
func (c *canvas) lines(x, y, size float64, rows []string) float64 {
	for _, row := range rows {
		for _, part := range wrapText(row, size) {
			c.text(point{x, y}, size, "start", part)
			y += size * 1.4
		}
	}
	return y
}

// wrapText breaks a row at spaces so that it stays within the drawing; a letter is taken as 0.55 of the size wide.
func wrapText(row string, size float64) []string {
	room := int((width - 20) / (0.55 * size))
	var out []string
	for len([]rune(row)) > room {
		runes := []rune(row)
		cut := strings.LastIndex(string(runes[:room]), " ")
		if cut <= 0 {
			out = append(out, string(runes[:room]))
			row = string(runes[room:])
			continue
		}
		out = append(out, row[:cut])
		row = "  " + row[cut+1:]
	}
	return append(out, row)
}

// document closes the drawing: size, title and description for screen readers, white ground.
func (c *canvas) document(height float64, title, desc string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %s %s\" width=\"%s\" height=\"%s\" role=\"img\" aria-labelledby=\"title desc\" font-family=\"sans-serif\" fill=\"#000\" stroke-linejoin=\"round\">\n",
		num(width), num(height), num(width), num(height))
	fmt.Fprintf(&b, "<title id=\"title\">%s</title>\n<desc id=\"desc\">%s</desc>\n", escape(title), escape(desc))
	fmt.Fprintf(&b, "<rect width=\"%s\" height=\"%s\" fill=\"#fff\"/>\n", num(width), num(height))
	b.Write(c.body.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// stroke is the style of a line: its weight and its dashes.
func stroke(weight float64, dashes string) string {
	s := "fill=\"none\" stroke=\"#000\" stroke-width=\"" + num(weight) + "\""
	if dashes != "" {
		s += " stroke-dasharray=\"" + dashes + "\""
	}
	return s
}
