package match

import "math"

// Figures of the nameplate are kept as logarithms in 16 bits: 0 is absent, the rest spans e^±10.4
// in steps of 0.032 %.
const (
	packSpan  = 10.4
	packSteps = 65534
)

// packLog packs a positive figure; anything else packs to 0.
func packLog(v float64) uint16 {
	if !(v > 0) || math.IsInf(v, 1) {
		return 0
	}
	n := math.Round((math.Log(v)+packSpan)/(2*packSpan)*packSteps) + 1
	return uint16(min(max(n, 1), packSteps+1))
}

// unpackLog returns the logarithm of a packed figure; ok is false if it is absent.
func unpackLog(p uint16) (float64, bool) {
	return (float64(p)-1)/packSteps*2*packSpan - packSpan, p != 0
}

// packFigures appends figures to an arena: whole ones in 16 bits, others as a mark and a float32.
func packFigures(arena []uint16, figures []float64) []uint16 {
	for _, t := range figures {
		if t == math.Trunc(t) && t >= 0 && t < math.MaxUint16 {
			arena = append(arena, uint16(t))
			continue
		}
		bits := math.Float32bits(float32(t))
		arena = append(arena, math.MaxUint16, uint16(bits>>16), uint16(bits))
	}
	return arena
}

// unpackFigures reads n figures from the start of an arena.
func unpackFigures(arena []uint16, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i], arena = nextFigure(arena)
	}
	return out
}

// nextFigure reads one figure, 0 at the end of the arena, and gives the rest.
func nextFigure(arena []uint16) (float64, []uint16) {
	switch {
	case len(arena) == 0:
		return 0, nil
	case arena[0] != math.MaxUint16:
		return float64(arena[0]), arena[1:]
	case len(arena) < 3:
		return 0, nil
	}
	return float64(math.Float32frombits(uint32(arena[1])<<16 | uint32(arena[2]))), arena[3:]
}

// figuresLen is the length in an arena of n figures.
func figuresLen(arena []uint16, n int) int {
	at := 0
	for range n {
		switch {
		case at >= len(arena):
			return len(arena)
		case arena[at] == math.MaxUint16:
			at = min(at+3, len(arena))
		default:
			at++
		}
	}
	return at
}
