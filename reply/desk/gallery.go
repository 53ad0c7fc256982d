package desk

import (
	"bytes"
	"container/list"
	"context"
	"errors"
	"fmt"
	"image"
	"net/http"
	"strings"
	"sync"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/preflight"
	"meshclerk/reply/picture"
)

// gallery keeps the pictures that were drawn lately, and lets one part at a time
// be drawn: a large mesh takes memory and both cores. Pictures that came by mail
// have places of their own. Nothing is drawn for longer than drawTime, and what
// could not be drawn is not tried again for a while, so that a bad picture keeps
// nobody waiting who looks at another.
type gallery struct {
	mu    sync.Mutex
	order *list.List // of *drawn, the latest in front
	at    map[string]*list.Element
	bytes int
	easel chan struct{}
	scans chan struct{}
	model model // on the stand before the easel, for whoever draws
}

const (
	drawTime   = 10 * time.Second
	notAgain   = 5 * time.Minute
	maxDrawn   = 10_000 // things that are kept, refusals too
	scanPlaces = 2
)

// errSlow is why drawing was stopped.
var errSlow = job.Refuse(job.Say("page.wrong.picture-slow", nil))

// model is the part that was drawn last, so that its other views need not read
// it again.
type model struct {
	key  string
	mesh *mesh.Mesh
	thin func(facet int, at mesh.Vec) (picture.Tone, bool) // nil until it was needed
}

// maxModel bounds the facets of a part that stays in memory.
const maxModel = 600_000

type drawn struct {
	key     string
	body    []byte
	refused error     // why there is no body
	until   time.Time // when that may be tried again
}

const maxGallery = 32 << 20

func newGallery() *gallery {
	return &gallery{order: list.New(), at: map[string]*list.Element{}, easel: make(chan struct{}, 1), scans: make(chan struct{}, scanPlaces)}
}

func (g *gallery) find(key string) (*drawn, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	e, ok := g.at[key]
	if !ok {
		return nil, false
	}
	d := e.Value.(*drawn)
	if d.refused != nil && time.Now().After(d.until) {
		g.drop(e)
		return nil, false
	}
	g.order.MoveToFront(e)
	return d, true
}

func (g *gallery) keep(d *drawn) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if _, ok := g.at[d.key]; ok {
		return
	}
	g.at[d.key] = g.order.PushFront(d)
	g.bytes += len(d.body)
	for (g.bytes > maxGallery || g.order.Len() > maxDrawn) && g.order.Len() > 1 {
		g.drop(g.order.Back())
	}
}

func (g *gallery) drop(e *list.Element) {
	d := g.order.Remove(e).(*drawn)
	delete(g.at, d.key)
	g.bytes -= len(d.body)
}

// get finds something, or makes it where there is a place to draw at. It is
// stopped when nobody wants it any more, and after drawTime.
func (g *gallery) get(ctx context.Context, places chan struct{}, key string, make func(ctx context.Context) ([]byte, error)) ([]byte, error) {
	if d, ok := g.find(key); ok {
		return d.body, d.refused
	}
	select {
	case places <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-places }()
	if d, ok := g.find(key); ok { // drawn while we waited
		return d.body, d.refused
	}
	bounded, cancel := context.WithTimeoutCause(ctx, drawTime, errSlow)
	defer cancel()
	b, err := make(bounded)
	if err != nil && ctx.Err() == nil && bounded.Err() != nil {
		err = errSlow
	}
	var fault *job.Fault
	if err == nil || ctx.Err() == nil && errors.As(err, &fault) {
		g.keep(&drawn{key, b, err, time.Now().Add(notAgain)})
	}
	return b, err
}

var views = map[string]picture.View{"corner": picture.Corner, "front": picture.Front, "side": picture.Side, "top": picture.Top, "below": picture.Below}

// picture serves one picture of a part: a view, "turned" for the advised way
// up, "strip" for a turntable, "inside" cut open. ?dark=1 is for dark pages.
func (d *Desk) picture(w http.ResponseWriter, r *http.Request, _ personal) error {
	name, isPNG := strings.CutSuffix(r.PathValue("view"), ".png")
	j, err := d.office.Ledger.Job(r.Context(), job.ID(r.PathValue("job")))
	if err != nil {
		return err
	}
	if _, known := views[name]; !isPNG || j.Blob == "" || !known && name != "turned" && name != "strip" && name != "inside" {
		d.fail(w, r, http.StatusNotFound, job.Say("page.wrong.no-picture", nil))
		return nil
	}
	dark := r.URL.Query().Get("dark") == "1"
	s := d.localizer(r)
	key := pictureKey(j, name, dark)
	if name == "corner" {
		key += "-" + s.Language // the thing beside the part has a name
	}
	tag := `"` + key + `"`
	w.Header().Set("ETag", tag)
	w.Header().Set("Cache-Control", "private, no-cache")
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	body, err := d.pictures.get(r.Context(), d.pictures.easel, key, func(ctx context.Context) ([]byte, error) { return d.draw(ctx, s, j, name, dark) })
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/png")
	_, err = w.Write(body)
	return err
}

// pictureKey names a picture by everything it depends on.
func pictureKey(j job.Job, name string, dark bool) string {
	findings := 0
	if j.Report != nil {
		findings = len(j.Report.Findings)
	}
	return fmt.Sprintf("%s-%s-%t-%g-%d-%s", j.Blob, name, dark, scaleOf(j), findings, j.Stage)
}

// scaleOf is what the file's lengths are multiplied by.
func scaleOf(j job.Job) float64 {
	switch {
	case j.Report != nil && j.Report.Estimate != nil && j.Report.Estimate.Scale > 0:
		return j.Report.Estimate.Scale
	case j.Settings.Scale > 0:
		return j.Settings.Scale
	}
	return 1
}

// pose puts a part before the easel. Only who is at the easel may call it.
func (d *Desk) pose(ctx context.Context, j job.Job) (*model, error) {
	stand := &d.pictures.model
	key := fmt.Sprintf("%s-%g", j.Blob, scaleOf(j))
	if stand.key == key {
		return stand, nil
	}
	f, err := preflight.Open(ctx, d.office.Ledger.BlobPath(j.Blob), d.office.Rules.Caps)
	if err != nil {
		return nil, err
	}
	m := f.Mesh
	if s := scaleOf(j); s != 1 {
		m = m.Transformed(mesh.Upright, s)
	}
	fresh := model{key: key, mesh: m}
	if len(m.Triangles) > maxModel {
		return &fresh, nil
	}
	*stand = fresh
	return stand, nil
}

// thinOf marks thin walls where the check found any.
func (d *Desk) thinOf(p *model, j job.Job) func(facet int, at mesh.Vec) (picture.Tone, bool) {
	if j.Report == nil {
		return nil
	}
	bound := 0.0
	for _, f := range j.Report.Findings {
		if f.Code == job.CodeThinWall || f.Code == job.CodeFineDetail {
			bound = max(bound, d.office.Rules.Checks.Check[f.Code].Limit)
		}
	}
	if bound > 0 && p.thin == nil {
		p.thin = picture.ThinWalls(p.mesh, bound)
	}
	if bound == 0 {
		return nil
	}
	return p.thin
}

func (d *Desk) draw(ctx context.Context, s *localizer, j job.Job, name string, dark bool) ([]byte, error) {
	p, err := d.pose(ctx, j)
	if err != nil {
		return nil, err
	}
	m := p.mesh
	o := picture.Options{Width: 640, Height: 480, Sizes: true, Dark: dark, Marks: marks(j), Spots: while(ctx, d.thinOf(p, j))}
	var img *image.RGBA
	switch name {
	case "strip":
		img = picture.Strip(m, 8, picture.Options{Width: 200, Height: 170, Dark: dark})
	case "inside":
		img = picture.Inside(m, cutAt(j), o)
	case "turned":
		if j.Report != nil && j.Report.Orientation != nil {
			turn := j.Report.Orientation.Rotation
			m, o.Marks, o.Spots = m.Transformed(turn, 1), nil, turned(o.Spots, turn)
		}
		o.Shade = picture.Overhangs(m, d.office.Rules.Printing.SupportAngleDeg)
		img = picture.Draw(m, picture.Corner, o)
	default:
		o.Shade = picture.Overhangs(m, d.office.Rules.Printing.SupportAngleDeg)
		if name == "corner" {
			thing := picture.FamiliarFor(m.Bounds().Size())
			o.Beside, o.BesideLabel = &thing, s.code("familiar", thing.Key)
		}
		img = picture.Draw(m, views[name], o)
	}
	if ctx.Err() != nil { // its spots are not all there
		return nil, context.Cause(ctx)
	}
	var b bytes.Buffer
	err = picture.WritePNG(&b, img)
	return b.Bytes(), err
}

// while asks only as long as a context lasts: in a mesh that was made for it,
// looking for the far side of a wall takes as long as its maker likes.
func while(ctx context.Context, ask func(facet int, at mesh.Vec) (picture.Tone, bool)) func(facet int, at mesh.Vec) (picture.Tone, bool) {
	if ask == nil {
		return nil
	}
	return func(facet int, at mesh.Vec) (picture.Tone, bool) {
		if ctx.Err() != nil {
			return 0, false
		}
		return ask(facet, at)
	}
}

// turned asks about the part as it was sent while it is seen turned.
func turned(ask func(facet int, at mesh.Vec) (picture.Tone, bool), by [3][3]float64) func(facet int, at mesh.Vec) (picture.Tone, bool) {
	if ask == nil {
		return nil
	}
	return func(facet int, at mesh.Vec) (picture.Tone, bool) {
		var back mesh.Vec // by the transpose, which turns the other way
		for i := range 3 {
			for k := range 3 {
				back[i] += by[k][i] * at[k]
			}
		}
		return ask(facet, back)
	}
}

// cutAt is where a cut tells most: through a closed hollow, else a thin wall,
// else the first place of any finding. nil is the middle.
func cutAt(j job.Job) *mesh.Vec {
	var through *mesh.Vec
	best := 3
	if j.Report == nil {
		return nil
	}
	for _, f := range j.Report.Findings {
		rank := 2
		switch f.Code {
		case job.CodeSealedVoid:
			rank = 0
		case job.CodeThinWall:
			rank = 1
		}
		if f.At != nil && rank < best {
			at := mesh.Vec(*f.At)
			through, best = &at, rank
		}
	}
	return through
}

// marks are the places of the findings, numbered as on the page.
func marks(j job.Job) []picture.Mark {
	var out []picture.Mark
	if j.Report == nil {
		return nil
	}
	for _, f := range j.Report.Findings {
		if f.At != nil {
			out = append(out, picture.Mark{At: mesh.Vec(*f.At), Label: fmt.Sprint(len(out) + 1), Tone: tone(f)})
		}
	}
	return out
}

// shape serves the part for the turning view: little-endian float32 corners,
// three for each facet, in mm about the middle of the part.
func (d *Desk) shape(w http.ResponseWriter, r *http.Request, _ personal) error {
	j, err := d.office.Ledger.Job(r.Context(), job.ID(r.PathValue("job")))
	if err != nil {
		return err
	}
	if j.Blob == "" {
		d.fail(w, r, http.StatusNotFound, job.Say("page.wrong.no-picture", nil))
		return nil
	}
	body, err := d.pictures.get(r.Context(), d.pictures.easel, fmt.Sprintf("%s-shape-%g", j.Blob, scaleOf(j)), func(ctx context.Context) ([]byte, error) {
		p, err := d.pose(ctx, j)
		if err != nil {
			return nil, err
		}
		few, err := picture.Simplified(ctx, p.mesh, maxTurning)
		if err != nil {
			return nil, err
		}
		return picture.Corners(few), nil
	})
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Cache-Control", "private, no-cache")
	_, err = w.Write(body)
	return err
}

// maxTurning bounds the facets of the turning view: 5 MB on a phone's connection.
const maxTurning = 150_000
