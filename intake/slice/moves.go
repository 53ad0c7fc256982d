package slice

import (
	"bufio"
	"context"
	"io"
	"math"
	"strconv"

	"meshclerk/intake/mesh"
)

// Moves writes every planned move of one copy as CSV with a header:
//
//	feature,x0,y0,x1,y1,z,width,speed
//
// Lengths are mm, the middle of the part is x = y = 0, and z is the top of the
// layer. Speed is the most the move may reach, mm/s, slowed where a layer must
// cool. A "travel" lays nothing; a "hop" is a travel with the filament pulled
// back, which begins and ends at rest. Warm-up, pulling back, steps up to the
// next layer and changes of nozzle are no rows. It is for checking the times
// with another planner: no machine understands it.
func Moves(ctx context.Context, m *mesh.Mesh, in Input, w io.Writer) error {
	in.EveryLayer = true
	p, err := NewPlan(ctx, m, in)
	if err != nil {
		return err
	}
	out := &moveWriter{printed: p.printed, w: bufio.NewWriter(w), timer: newTimer(p.printed.recipe)}
	if err := out.write(ctx); err != nil {
		return err
	}
	return out.w.Flush()
}

type moveWriter struct {
	*printed
	w     *bufio.Writer
	timer *timer
	row   []byte
	lift  float64 // mm, what a raft lifts the part
	at    spot
	begun bool
}

func (o *moveWriter) write(ctx context.Context) error {
	if _, err := o.w.WriteString("feature,x0,y0,x1,y1,z,width,speed\n"); err != nil {
		return err
	}
	uncooled := pace{natural: math.Inf(1)}
	if err := o.layer(o.skirtAround(o.ground.outlinePoints(o.centred())), o.layerAt(0), uncooled); err != nil {
		return err
	}
	for k, moves := range o.bedside.tracks {
		if err := o.layer(moves, o.bedside.layers[k], uncooled); err != nil {
			return err
		}
		if o.printing.Adhesion == "raft" {
			o.lift += o.bedside.layers[k].thick
		}
	}
	var t track
	for i, l := range o.layers {
		if err := ctx.Err(); err != nil {
			return err
		}
		o.layLayer(&t, i)
		if err := o.layer(t.moves, l, o.paces[i]); err != nil {
			return err
		}
	}
	return nil
}

// centred is a plate with one copy whose middle is at x = y = 0.
func (o *moveWriter) centred() plate {
	return plate{[]place{{0, o.ground.x0, o.ground.y0}}}
}

// layer writes one layer, and the way to where it begins.
func (o *moveWriter) layer(moves []move, l layer, p pace) error {
	if len(moves) == 0 {
		return nil
	}
	slow := o.timer.slowedFor(moves, l, p)
	if o.begun && o.at != moves[0].from {
		if err := o.move(move{from: o.at, to: moves[0].from, hop: true}, l, slow); err != nil {
			return err
		}
	}
	o.begun = true
	for _, m := range moves {
		if err := o.move(m, l, slow); err != nil {
			return err
		}
	}
	o.at = moves[len(moves)-1].to
	return nil
}

func (o *moveWriter) move(m move, l layer, slow float64) error {
	name := m.feature.String()
	if m.hop {
		name = "hop"
	}
	o.row = append(append(o.row[:0], name...), ',')
	for _, v := range [4]float64{m.from.x, m.from.y, m.to.x, m.to.y} {
		o.row = append(strconv.AppendFloat(o.row, v, 'f', 4, 64), ',')
	}
	o.row = append(strconv.AppendFloat(o.row, o.lift+l.bottom+l.thick, 'f', 3, 64), ',')
	o.row = append(strconv.AppendFloat(o.row, float64(m.width), 'f', 4, 32), ',')
	o.row = append(strconv.AppendFloat(o.row, o.timer.speed(m, l, slow), 'f', 3, 64), '\n')
	_, err := o.w.Write(o.row)
	return err
}
