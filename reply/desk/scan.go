package desk

import (
	"bytes"
	"context"
	"image"
	"image/color"
	_ "image/gif" // scans of a signed form come in these
	"image/jpeg"
	_ "image/png"
	"io"

	"meshclerk/intake/job"
)

// A picture that came by mail is a stranger's program for our decoder. What it
// would cost is read off its file first: pixels, how often a decoder goes over
// them, and what it holds meanwhile. What remains can be stopped at any time.

const (
	maxForms  = 30 << 20  // bytes of a file that is looked at
	maxScan   = 24 << 20  // pixels of a picture that is drawn anew
	maxPasses = 16        // scans of a JPEG; encoders in common use make 10 at most (from memory)
	maxHeld   = 256 << 20 // bytes that a decoder holds
)

// redraw reads a picture and gives it as a JPEG of ours.
func redraw(ctx context.Context, raw []byte) ([]byte, error) {
	size, kind, err := image.DecodeConfig(bytes.NewReader(raw))
	if err != nil || !drawable(raw, size, kind) {
		return nil, job.Refuse(job.Say("page.wrong.picture-kind", nil))
	}
	img, _, err := image.Decode(&stoppable{ctx: ctx, r: bytes.NewReader(raw)})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		return nil, job.Refuse(job.Say("page.wrong.picture-damaged", nil))
	}
	var b bytes.Buffer
	err = jpeg.Encode(&stoppable{ctx: ctx, w: &b}, img, &jpeg.Options{Quality: 85})
	return b.Bytes(), err
}

// drawable reports whether a picture costs no more than a large scan of a form.
func drawable(raw []byte, size image.Config, kind string) bool {
	w, h := size.Width, size.Height
	if w < 1 || h < 1 || w > maxScan/h {
		return false
	}
	switch kind {
	case "gif": // the first picture only, one byte a pixel
		return true
	case "png": // an interlaced one is held twice
		return 2*w*h*depth(size.ColorModel) <= maxHeld
	case "jpeg":
		f := frameOf(raw)
		return f.scans <= maxPasses && int64(w+32)*int64(h+32)*f.bytes <= maxHeld
	}
	return false
}

// depth is the bytes of one pixel as image/png holds it.
func depth(m color.Model) int {
	switch m {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	return 4 // or one, with a palette
}

// jpegFrame is what a JPEG file costs to decode.
type jpegFrame struct {
	scans int
	bytes int64 // held for each pixel, at most
}

// frameOf walks the markers of a JPEG file up to its end (ITU-T T.81, B.1.1 and
// B.2). Whatever image/jpeg would decode as a scan is counted.
func frameOf(raw []byte) jpegFrame {
	var f jpegFrame
	for i := 0; i+1 < len(raw); {
		if raw[i] != 0xff {
			i++
			continue
		}
		marker := raw[i+1]
		switch {
		case marker == 0xff: // a fill byte
			i++
			continue
		case marker == 0, marker == 0x01, 0xd0 <= marker && marker <= 0xd8: // a stuffed zero, TEM, RSTn, SOI: no length
			i += 2
			continue
		case marker == 0xd9: // EOI
			return f
		}
		if i+4 > len(raw) {
			return f
		}
		length := int(raw[i+2])<<8 | int(raw[i+3])
		body := raw[i+4 : min(len(raw), max(i+4, i+2+length))]
		switch marker {
		case 0xc0, 0xc1, 0xc2:
			f.bytes = max(f.bytes, frameBytes(body, marker == 0xc2))
		case 0xda:
			f.scans++
		}
		i += 2 + max(2, length)
	}
	return f
}

// frameBytes is what image/jpeg holds for a pixel, rounded up: a byte for each
// component as it is sampled, and for a progressive file its coefficients, four
// bytes each, as well.
func frameBytes(sof []byte, progressive bool) int64 {
	var sum, h, v int64 = 0, 1, 1
	for c := 6; c+2 < len(sof); c += 3 { // id, sampling factors, table: T.81, B.2.2
		x, y := int64(sof[c+1]>>4), int64(sof[c+1]&15)
		sum, h, v = sum+x*y, max(h, x), max(v, y)
	}
	each := int64(1)
	if progressive {
		each = 5
	}
	return (each*sum + h*v - 1) / (h * v)
}

// stoppable ends a reader's or a writer's work when its context ends. It hands
// out little at a time, so that a decoder comes back often.
type stoppable struct {
	ctx context.Context
	r   io.Reader
	w   io.Writer
}

const stopEvery = 512

func (s *stoppable) Read(p []byte) (int, error) {
	if s.ctx.Err() != nil {
		return 0, context.Cause(s.ctx)
	}
	return s.r.Read(p[:min(len(p), stopEvery)])
}

func (s *stoppable) Write(p []byte) (int, error) {
	if s.ctx.Err() != nil {
		return 0, context.Cause(s.ctx)
	}
	return s.w.Write(p)
}
