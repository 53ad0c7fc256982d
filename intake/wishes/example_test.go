package wishes_test

import (
	"fmt"
	"time"

	"meshclerk/intake/wishes"
	"meshclerk/rules"
)

// What the patron's words settle is read; what they leave open stays unsaid.
func ExampleReader_Understand() {
	house := rules.Default()
	r := wishes.New(house.Words, house.Library.Branches, house.Materials)
	w := r.Understand(wishes.Input{
		Text: "Two of these in blue, please, 5 cm high, to collect at Millbrook.",
		Date: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC),
	})
	fmt.Println("copies:", *w.Copies)
	fmt.Println("colours:", w.Colours)
	fmt.Println("size:", w.Size.Axis, w.Size.MM, "mm")
	fmt.Println("pickup:", w.Pickup)
	fmt.Printf("material: %q\n", w.Material)
	// Output:
	// copies: 2
	// colours: [blue]
	// size: height 50 mm
	// pickup: Millbrook
	// material: ""
}

// An answer that changes something is no acceptance.
func ExampleReader_Understand_answer() {
	house := rules.Default()
	r := wishes.New(house.Words, house.Library.Branches, house.Materials)
	for _, text := range []string{"Yes please, go ahead.", "Yes, but in green.", "How long will it take?"} {
		fmt.Println(r.Understand(wishes.Input{Text: text, Answer: true}).Answer)
	}
	// Output:
	// accept
	// change
	// question
}
