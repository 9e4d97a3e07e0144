package diagram

import (
	"fmt"
	"strings"

	"statorbook/internal/winding"
)

// group is a run of coils that are joined to each other inside one pole group.
type group struct {
	coils []winding.Coil
}

// entry tells by which end of the group the current comes in, and in which slot. Start is the side
// that comes first in the order of the slots; a reversed group is entered by its finish.
func (g group) entry(slots int) (end string, slot int) {
	first := g.coils[0]
	if forward(first, slots) {
		return "start", first.In
	}
	return "finish", first.In
}

// exit tells by which end of the group the current leaves, and in which slot.
func (g group) exit(slots int) (end string, slot int) {
	last := g.coils[len(g.coils)-1]
	if forward(last, slots) {
		return "finish", last.Out
	}
	return "start", last.Out
}

// forward tells whether a coil is wound in the order of the slot numbers, the short way round.
func forward(c winding.Coil, slots int) bool {
	span := ((c.Out-c.In)%slots + slots) % slots
	return span*2 <= slots
}

// groupsOf cuts the coils of a set into pole groups: by the pattern's throws, else wherever the
// sense changes or the next coil neither neighbours nor nests in the one before.
func groupsOf(set winding.CoilSet, coils []winding.Coil, slots int) []group {
	if p := set.Pattern; p != nil && len(p.Throws) > 1 {
		return chunk(coils, len(p.Throws))
	}
	var out []group
	for i, c := range coils {
		if i > 0 && sameGroup(coils[i-1], c, slots) {
			last := &out[len(out)-1]
			last.coils = append(last.coils, c)
			continue
		}
		out = append(out, group{coils: []winding.Coil{c}})
	}
	return out
}

func chunk(coils []winding.Coil, size int) []group {
	var out []group
	for at := 0; at < len(coils); at += size {
		out = append(out, group{coils: coils[at:min(at+size, len(coils))]})
	}
	return out
}

// sameGroup tells whether coil b goes on where coil a ends: same sense, and its sides next to a's or inside it.
func sameGroup(a, b winding.Coil, slots int) bool {
	if forward(a, slots) != forward(b, slots) {
		return false
	}
	step := func(from, to int) int {
		d := ((to-from)%slots + slots) % slots
		return min(d, slots-d)
	}
	return step(a.In, b.In) == 1 && step(a.Out, b.Out) == 1
}

// drawConnection draws each role as a column of groups with the joints between them, and tells the joints in words.
func drawConnection(in Input) ([]byte, error) {
	if in.Core.Slots == 0 {
		return nil, tooLittle("connection", "slots")
	}
	coils, _, err := winding.ExpandScheme(in.Scheme, in.Core)
	if err != nil {
		return nil, err
	}
	var cv canvas
	cv.text(point{width / 2, 18}, 13, "middle", in.Title)
	cv.text(point{width / 2, 34}, 11, "middle", "order of joining; status: "+in.Status)
	y := 56.0
	var told []string
	for i, set := range in.Scheme.CoilSets {
		slots := ringSlots(in, set)
		groups := groupsOf(set, coils[i], slots)
		var rows []string
		y, rows = drawRole(&cv, y, set, groups, slots)
		told = append(told, rows...)
	}
	rows := terminalRows(in)
	y = cv.lines(10, y+10, 11, rows)
	return cv.document(y+6, in.Title+": connection", strings.Join(append(told, rows...), "; ")), nil
}

func ringSlots(in Input, set winding.CoilSet) int {
	if set.Ring == winding.RingBack && in.Core.SecondRing != nil && in.Core.SecondRing.Slots > 0 {
		return in.Core.SecondRing.Slots
	}
	return in.Core.Slots
}

const rowHeight = 42.0

// drawRole draws the groups of one role, path by path, from y downward.
func drawRole(cv *canvas, y float64, set winding.CoilSet, groups []group, slots int) (float64, []string) {
	paths := winding.Paths(set)
	head := fmt.Sprintf("%s (%s): %d groups", roleWords(set.Role), lineWords(set.Role), len(groups))
	if paths > 1 {
		head += fmt.Sprintf(", %d parallel paths (groups dealt out in turn: assumed)", paths)
	}
	y = cv.lines(10, y, 11, []string{head})
	told := []string{head}
	for path := range paths {
		var chain []group
		for k := path; k < len(groups); k += paths {
			chain = append(chain, groups[k])
		}
		name := leadNames(set.Role)
		cv.text(point{14, y + 14}, 11, "start", name[0])
		cv.line(point{36, y + 10}, point{60, y + 10}, stroke(1.2, line(set.Role)))
		for k, g := range chain {
			drawGroup(cv, y, g, slots, line(set.Role))
			number := path + k*paths + 1
			fromEnd, fromSlot := g.entry(slots)
			toEnd, toSlot := g.exit(slots)
			told = append(told, fmt.Sprintf("group %d: in at its %s, slot %d; out at its %s, slot %d", number, fromEnd, fromSlot, toEnd, toSlot))
			if k+1 < len(chain) {
				nextEnd, nextSlot := chain[k+1].entry(slots)
				cv.path(fmt.Sprintf("M330 %sL344 %sL344 %sL48 %sL48 %sL60 %s", num(y+10), num(y+10), num(y+rowHeight-9), num(y+rowHeight-9), num(y+10+rowHeight), num(y+10+rowHeight)), stroke(1.2, line(set.Role)))
				cv.text(point{196, y + rowHeight - 13.5}, 9, "middle", fmt.Sprintf("%s (slot %d) to %s (slot %d)", toEnd, toSlot, nextEnd, nextSlot))
			}
			y += rowHeight
		}
		cv.line(point{330, y - rowHeight + 10}, point{336, y - rowHeight + 10}, stroke(1.2, line(set.Role)))
		cv.text(point{350, y - rowHeight + 14}, 11, "end", name[1])
		y += 8
	}
	return y + 8, told
}

// drawGroup draws a group as a box with its coils and the ends by which the current enters and leaves.
func drawGroup(cv *canvas, y float64, g group, slots int, dashes string) {
	cv.rect(point{60, y}, 270, 20, "fill=\"#fff\" stroke=\"#000\" stroke-width=\"1.2\""+dashed(dashes))
	parts := make([]string, len(g.coils))
	for i, c := range g.coils {
		parts[i] = fmt.Sprintf("%d>%d", c.In, c.Out)
	}
	label := strings.Join(parts, "  ")
	if len([]rune(label)) > 40 {
		label = fmt.Sprintf("%s ... %s (%d coils)", parts[0], parts[len(parts)-1], len(parts))
	}
	sense := "forward"
	if !forward(g.coils[0], slots) {
		sense = "reversed"
	}
	cv.text(point{66, y + 14}, 10, "start", label)
	cv.text(point{325, y + 14}, 9, "end", sense)
}

func dashed(dashes string) string {
	if dashes == "" {
		return ""
	}
	return " stroke-dasharray=\"" + dashes + "\""
}

// leadNames gives the first and last lead of a role. Three-phase marks follow IEC 60034-8 (from
// memory); single-phase leads are named by what they are, since practice differs.
func leadNames(role winding.Role) [2]string {
	switch role {
	case winding.PhaseU:
		return [2]string{"U1", "U2"}
	case winding.PhaseV:
		return [2]string{"V1", "V2"}
	case winding.PhaseW:
		return [2]string{"W1", "W2"}
	case winding.Auxiliary:
		return [2]string{"S1", "S2"}
	case winding.Speed:
		return [2]string{"T1", "T2"}
	}
	return [2]string{"R1", "R2"}
}

// terminalRows tells how the leads go to the terminals.
func terminalRows(in Input) []string {
	switch in.Connection {
	case winding.ConnStar:
		return []string{"star: U2, V2 and W2 joined; lines to U1, V1, W1"}
	case winding.ConnDelta:
		return []string{"delta: U1 with W2, V1 with U2, W1 with V2; lines to the three joints"}
	}
	roles := map[winding.Role]bool{}
	for _, set := range in.Scheme.CoilSets {
		roles[set.Role] = true
	}
	if !roles[winding.Main] || !roles[winding.Auxiliary] {
		return nil
	}
	rows := []string{"R = running (main) winding, S = starting (auxiliary) winding, C = the lead common to both", "C: R2 with S2. To reverse the motor swap the ends of one winding, not of both."}
	switch in.MotorType {
	case "permanent_split_capacitor":
		rows = append(rows, "permanent split capacitor: line to R1 and C; capacitor between R1 and S1")
	case "capacitor_start":
		rows = append(rows, "capacitor start: line to R1 and C; capacitor and switch in series between R1 and S1")
	case "capacitor_start_run":
		rows = append(rows, "capacitor start and run: line to R1 and C; run capacitor between R1 and S1, start capacitor with its switch across it")
	case "split_phase":
		rows = append(rows, "split phase: line to R1 and C; switch between R1 and S1")
	}
	return rows
}
