package preflight

import (
	"math"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// What is measured is filled into sentences as it is; the book rounds and words it.

func length(mm float64) job.Figure { return job.Figure{Amount: mm, Unit: "mm"} }

func area(mm2 float64) job.Figure { return job.Figure{Amount: mm2, Unit: "mm2"} }

func volume(mm3 float64) job.Figure { return job.Figure{Amount: mm3, Unit: "mm3"} }

// bare is a figure whose unit stands in the sentence.
func bare(v float64) job.Figure { return job.Figure{Amount: v} }

// duration is a time to the minute, and to five minutes where it is longer than an hour.
func duration(seconds float64) job.Figure {
	minutes := math.Round(seconds / 60)
	if minutes > 60 {
		minutes = math.Round(seconds/300) * 5
	}
	return job.Figure{Amount: 60 * minutes, Unit: "s"}
}

// dimensions says an outer size as patrons write it.
func dimensions(v mesh.Vec) job.Message {
	if max(v[0], v[1], v[2]) < 0.01 {
		return job.Say("findings.measure.size-tiny", nil)
	}
	return job.Say("findings.measure.size", job.Args{"x": bare(v[0]), "y": bare(v[1]), "z": bare(v[2])})
}
