package desk

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"net/http"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"meshclerk/intake/job"
)

// segment is one marker segment of a JPEG file (ITU-T T.81, B.1.1.4).
func segment(marker byte, body ...byte) []byte {
	out := []byte{0xff, marker, 0, 0}
	binary.BigEndian.PutUint16(out[2:], uint16(len(body)+2))
	return append(out, body...)
}

// emptyScans is a progressive JPEG of so many scans that hold nothing: each is a
// few runs of end-of-band (T.81, G.1.2.2), and has the decoder walk every block.
func emptyScans(width, height, scans int) []byte {
	b := []byte{0xff, 0xd8}
	b = append(b, segment(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...)...) // one quantization table
	frame := []byte{8, byte(height >> 8), byte(height), byte(width >> 8), byte(width), 3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0}
	b = append(b, segment(0xc2, frame...)...)
	ac := append([]byte{0x10, 1}, make([]byte, 15)...)   // one code of one bit ...
	b = append(b, segment(0xc4, append(ac, 0xe0)...)...) // ... for EOB14: 2^14 blocks and the 14 bits that follow
	blocks := (width + 7) / 8 * ((height + 7) / 8)
	var data []byte
	bits, n := uint32(0), 0
	put := func(v uint32, count int) {
		for i := count - 1; i >= 0; i-- {
			bits, n = bits<<1|v>>i&1, n+1
			if n == 8 {
				if data = append(data, byte(bits)); byte(bits) == 0xff {
					data = append(data, 0) // T.81, B.1.1.5
				}
				bits, n = 0, 0
			}
		}
	}
	for ; blocks > 0; blocks -= 1<<15 - 1 {
		put(0, 1)
		put(1<<14-1, 14)
	}
	for n != 0 {
		put(1, 1)
	}
	for i := range scans {
		b = append(b, segment(0xda, 1, byte(i%3+1), 0x00, 1, 63, 0)...)
		b = append(b, data...)
	}
	return append(b, 0xff, 0xd9)
}

// chunk is one chunk of a PNG file (PNG specification, 5.3).
func chunk(kind string, body []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	out = append(append(out, kind...), body...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

// bigPNG says that it has that many pixels of 8 bytes, interlaced, and has none.
func bigPNG(width, height int) []byte {
	head := binary.BigEndian.AppendUint32(nil, uint32(width))
	head = binary.BigEndian.AppendUint32(head, uint32(height))
	out := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, 16, 6, 0, 0, 1))...)
	return append(out, chunk("IDAT", nil)...)
}

func encoded(t *testing.T, write func(b *bytes.Buffer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A picture of 100 KB that costs a minute is refused at once, and the pictures
// of other letters and of parts are drawn meanwhile.
func TestBadPictureKeepsNobodyWaiting(t *testing.T) {
	h := newHouse(t, nil)
	a := okafor()
	part, _ := h.letter(a)
	good := encoded(t, func(b *bytes.Buffer) error { return jpeg.Encode(b, image.NewGray(image.Rect(0, 0, 30, 20)), nil) })
	files := map[string][]byte{"good.jpg": good}
	kinds := map[string]job.Kind{"good.jpg": job.KindPicture}
	order := []string{"good.jpg"}
	for _, name := range []string{"one.jpg", "two.jpg", "three.jpg"} {
		files[name], kinds[name] = append(emptyScans(4800, 4800, 300), name...), job.KindPicture
		order = append(order, name)
		if n := len(files[name]); n > 100<<10 {
			t.Fatalf("%d bytes", n)
		}
	}
	id := h.withFiles(files, kinds, order...)
	staff := h.browser("marisol")
	staff.Timeout = 20 * time.Second // a refusal takes milliseconds, and each of these pictures a minute
	for n := 2; n <= 4; n++ {
		code, page := staff.get("/letter/" + id + "/picture/" + string(rune('0'+n)))
		if code != http.StatusUnprocessableEntity {
			t.Errorf("picture %d: %d", n, code)
		}
		holds(t, page, "cannot be shown here")
	}
	if code, _ := staff.get("/letter/" + id + "/picture/1"); code != http.StatusOK {
		t.Errorf("the good one: %d", code)
	}
	staff.image("/job/" + string(part) + "/picture/front.png")
}

// What a picture would cost is read off its file.
func TestPicturesThatCostTooMuch(t *testing.T) {
	gray := image.NewGray(image.Rect(0, 0, 64, 48))
	pal := image.NewPaletted(gray.Rect, color.Palette{color.Black, color.White})
	plain := encoded(t, func(b *bytes.Buffer) error { return jpeg.Encode(b, gray, nil) })
	within := segment(0xe1, plain...) // a small picture inside, as cameras put it there
	photo := slices.Concat(plain[:2], within, plain[2:], bytes.Repeat([]byte{0xff, 0xda}, 100))
	for name, c := range map[string]struct {
		raw  []byte
		want string // of the refusal, or "" for a picture
	}{
		"jpeg":                         {plain, ""},
		"photo, with more in its file": {photo, ""},
		"jpeg of ten scans":            {emptyScans(640, 480, 10), ""},
		"png":                          {encoded(t, func(b *bytes.Buffer) error { return png.Encode(b, gray) }), ""},
		"gif":                          {encoded(t, func(b *bytes.Buffer) error { return gif.Encode(b, pal, nil) }), ""},
		"jpeg of 17 scans":             {emptyScans(640, 480, 17), "page.wrong.picture-kind"},
		"jpeg of 300 scans":            {emptyScans(4800, 4800, 300), "page.wrong.picture-kind"},
		"jpeg with fill bytes":         {bytes.ReplaceAll(emptyScans(640, 480, 17), []byte{0xff, 0xda}, []byte{0xff, 0xff, 0xff, 0xda}), "page.wrong.picture-kind"},
		"progressive, 4:4:4, 23 Mpx":   {emptyScans(4800, 4800, 1), "page.wrong.picture-kind"},
		"jpeg of too many pixels":      {emptyScans(65000, 65000, 1), "page.wrong.picture-kind"},
		"png of 8 bytes a pixel":       {bigPNG(4900, 4900), "page.wrong.picture-kind"},
		"png of too many pixels":       {bigPNG(1<<30, 1<<30), "page.wrong.picture-kind"},
		"gif of too many pixels":       {[]byte("GIF89a\xff\xff\xff\xff\x00\x00\x00"), "page.wrong.picture-kind"},
		"webp":                         {[]byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"), "page.wrong.picture-kind"},
		"tiff":                         {[]byte("II*\x00\x08\x00\x00\x00"), "page.wrong.picture-kind"},
		"half a png":                   {encoded(t, func(b *bytes.Buffer) error { return png.Encode(b, gray) })[:60], "page.wrong.picture-damaged"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := redraw(t.Context(), c.raw)
			if c.want != "" {
				if err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("%d bytes, %v", len(got), err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if _, err := jpeg.Decode(bytes.NewReader(got)); err != nil {
				t.Error(err)
			}
		})
	}
}

// Drawing stops when its visitor leaves, wherever it is, and is not held against
// the picture.
func TestDrawingStopsWhenTheVisitorLeaves(t *testing.T) {
	raw := emptyScans(1600, 1600, maxPasses)
	gone := errors.New("the visitor left")
	for _, at := range []int{0, 1, 3} { // after so many looks at the context
		ctx, leave := context.WithCancelCause(t.Context())
		n := 0
		r := &stoppable{ctx: ctx, r: readerFunc(func(p []byte) (int, error) {
			if n++; n > at {
				leave(gone)
			}
			return 1, nil
		})}
		for range at + 1 {
			if _, err := r.Read(make([]byte, 10)); err != nil {
				t.Errorf("read %d: %v", n, err)
			}
		}
		if _, err := r.Read(make([]byte, 10)); !errors.Is(err, gone) {
			t.Errorf("it goes on after %d reads: %v", n, err)
		}
		if _, err := redraw(ctx, raw); !errors.Is(err, gone) {
			t.Errorf("it was drawn all the same: %v", err)
		}
	}
	g := newGallery()
	ctx, leave := context.WithCancel(t.Context())
	_, err := g.get(ctx, g.scans, "x", func(ctx context.Context) ([]byte, error) {
		leave()
		return nil, context.Cause(ctx)
	})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if b, err := g.get(t.Context(), g.scans, "x", func(context.Context) ([]byte, error) { return []byte("x"), nil }); err != nil || string(b) != "x" {
		t.Errorf("the next visitor: %q, %v", b, err)
	}
}

type readerFunc func(p []byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

// What takes too long is stopped, is refused at once for some minutes, and is then
// tried again.
func TestSlowDrawingIsStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGallery()
		tries := 0
		slow := func(ctx context.Context) ([]byte, error) {
			tries++
			<-ctx.Done()
			return nil, ctx.Err()
		}
		begun := time.Now()
		for range 3 {
			if _, err := g.get(t.Context(), g.easel, "slow", slow); fmt.Sprint(err) != errSlow.Error() {
				t.Error(err)
			}
		}
		if took := time.Since(begun); took != drawTime || tries != 1 {
			t.Errorf("%d tries took %v", tries, took)
		}
		time.Sleep(notAgain + time.Second)
		if _, err := g.get(t.Context(), g.easel, "slow", slow); fmt.Sprint(err) != errSlow.Error() || tries != 2 {
			t.Errorf("%d tries, %v", tries, err)
		}
		// Pictures from letters wait for no part, and one of them leaves room for another.
		g.easel <- struct{}{}
		g.scans <- struct{}{}
		if b, err := g.get(t.Context(), g.scans, "other", func(context.Context) ([]byte, error) { return []byte("x"), nil }); err != nil || len(b) != 1 {
			t.Error(err)
		}
	})
}

// Whatever a file holds, its cost is read without a fault, and what would be
// drawn holds no more bytes than it was said to.
func FuzzPicture(f *testing.F) {
	f.Add(emptyScans(16, 16, 3))
	f.Add(bigPNG(8, 8))
	f.Add([]byte("\xff\xd8\xff\xff\xff\xc2\x00\x0b\x08\x00\x08\x00\x08\x01\x01\xf4\x00\xff\xda\x00"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		size, kind, err := image.DecodeConfig(bytes.NewReader(raw))
		if err != nil || size.Width*size.Height > 1<<16 {
			return
		}
		if kind == "jpeg" && frameOf(raw).scans > bytes.Count(raw, []byte{0xff, 0xda}) {
			t.Errorf("more scans than markers: %+v", frameOf(raw))
		}
		if !drawable(raw, size, kind) {
			return
		}
		img, _, err := image.Decode(bytes.NewReader(raw))
		if err != nil {
			return
		}
		if kind == "jpeg" && frameOf(raw).scans == 0 {
			t.Error("it was decoded without a scan")
		}
		if img.Bounds().Dx() > size.Width || img.Bounds().Dy() > size.Height {
			t.Errorf("%v from a picture of %d x %d", img.Bounds(), size.Width, size.Height)
		}
	})
}
