package slice_test

import (
	"context"
	"fmt"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// The estimate of a 20 mm cube under the built-in rules.
func ExampleEstimate() {
	cube := shapes.Box(20, 20, 20)
	in, err := slice.For(rules.Default(), job.Settings{Material: "PLA"}, cube.Bounds().Size())
	if err != nil {
		panic(err)
	}
	e, err := slice.Estimate(context.Background(), cube, in)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%d layers on %s, %.0f min, %.1f g of %s\n", e.Layers, e.Printer, e.PrintTimeS/60, e.MassG, e.Material)
	// Output: 100 layers on Bench 1, 21 min, 3.0 g of PLA
}

// What would make the job shorter or lighter. A plan is cut once for both.
func ExamplePlan_WhatIf() {
	ctx := context.Background()
	cube := shapes.Box(40, 40, 40)
	in, err := slice.For(rules.Default(), job.Settings{Infill: 0.4, Shells: 3}, cube.Bounds().Size())
	if err != nil {
		panic(err)
	}
	plan, err := slice.NewPlan(ctx, cube, in)
	if err != nil {
		panic(err)
	}
	e, err := plan.Estimate(ctx)
	if err != nil {
		panic(err)
	}
	choices, err := plan.WhatIf(ctx, e)
	if err != nil {
		panic(err)
	}
	fmt.Printf("as asked: %.0f g\n", e.MassG)
	for _, c := range choices {
		fmt.Printf("%s: %.0f g\n", c.Label.Key, c.MassG)
	}
	// Output:
	// as asked: 39 g
	// choices.layers: 40 g
	// choices.infill: 26 g
	// choices.shells: 37 g
}

// Pick chooses the first printer of the rules that has room and the material.
func ExamplePick() {
	p, err := slice.Pick(rules.Default(), job.Settings{Supports: "soluble"}, [3]float64{100, 100, 100})
	fmt.Println(p.Name, err)
	// Output: Bench 2 <nil>
}
