package slice

import (
	"context"
	"fmt"
	"syscall"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh/shapes"
)

func cpu() time.Duration {
	var r syscall.Rusage
	syscall.Getrusage(0, &r)
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

func TestPhases(t *testing.T) {
	m := shapes.UVSphere(50, 320, 160)
	in := inputFor(t, m, job.Settings{})
	ctx := context.Background()
	for range 60 {
		t0, c0 := time.Now(), cpu()
		step := func(n string) {
			fmt.Printf("%-12s wall %5.0f cpu %5.0f\n", n, time.Since(t0).Seconds()*1e3, (cpu()-c0).Seconds()*1e3)
			t0, c0 = time.Now(), cpu()
		}
		p, _ := newRecipe(in)
		part, _ := newPart(ctx, m, p)
		step("newPart")
		pr, _ := planCopy(ctx, part, p)
		step("plan")
		r := pr.run(pr.ground)
		step("run")
		best, _ := pr.largestScale(ctx)
		step("scale")
		fmt.Println(len(pr.levels), r.seconds, best, pr.plastic)
	}
}
