package main

import "meshclerk/intake/job"

// publicReport is a report as scripts read it (preflight --json, jobs show --json):
// a job.Report whose messages are their English words.
type publicReport struct {
	File        string             `json:"file"`
	Readable    bool               `json:"readable"`
	Format      string             `json:"format"`
	Error       string             `json:"error"`
	Unfinished  bool               `json:"unfinished,omitempty"`
	Mesh        *job.Shape         `json:"mesh,omitempty"`
	Findings    []publicFinding    `json:"findings"`
	Fit         *job.Fit           `json:"fit,omitempty"`
	Orientation *publicOrientation `json:"orientation,omitempty"`
	Estimate    *job.Estimate      `json:"estimate,omitempty"`
	Quote       *job.Quote         `json:"quote,omitempty"`
	Advice      []publicAdvice     `json:"advice,omitempty"`
}

type publicFinding struct {
	Code     string      `json:"code"`
	Level    job.Level   `json:"level"`
	Text     string      `json:"text"`
	Amount   float64     `json:"amount"`
	Unit     string      `json:"unit"`
	At       *[3]float64 `json:"at,omitempty"`
	Question string      `json:"question,omitempty"`
}

type publicOrientation struct {
	Rotation   [3][3]float64 `json:"rotation"`
	SupportMM3 float64       `json:"support_mm3"`
	PrintTimeS float64       `json:"print_time_s"`
	Why        string        `json:"why"`
	HeightMM   float64       `json:"height_mm"`
	BedMM2     float64       `json:"bed_mm2"`
	AsSent     bool          `json:"as_sent"`
}

type publicAdvice struct {
	About string `json:"about"`
	Do    string `json:"do"`
	Why   string `json:"why"`
}

// publish gives a report as scripts read it; nil for none. Its labels get their words
// when it is written (encode).
func publish(w words, r *job.Report) *publicReport {
	if r == nil {
		return nil
	}
	p := &publicReport{File: r.File, Readable: r.Readable, Format: r.Format, Error: w.said(r.Error), Unfinished: r.Unfinished,
		Mesh: r.Mesh, Fit: r.Fit, Estimate: r.Estimate, Quote: r.Quote}
	if r.Findings != nil {
		p.Findings = make([]publicFinding, 0, len(r.Findings))
	}
	for _, f := range r.Findings {
		p.Findings = append(p.Findings, publicFinding{f.Code, f.Level, w.said(f.Text), f.Amount, f.Unit, f.At, w.said(f.Question)})
	}
	if o := r.Orientation; o != nil {
		p.Orientation = &publicOrientation{o.Rotation, o.SupportMM3, o.PrintTimeS, w.said(o.Why), o.HeightMM, o.BedMM2, o.AsSent}
	}
	for _, a := range r.Advice {
		p.Advice = append(p.Advice, publicAdvice{a.About, w.said(a.Do), w.said(a.Why)})
	}
	return p
}
