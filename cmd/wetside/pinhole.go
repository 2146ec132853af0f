package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/session/words"
)

// PinholeCmd reckons a pinhole and its camera, or measures a hole.
type PinholeCmd struct {
	Camera     string      `help:"A camera of your profiles; flags beside it change it." placeholder:"KEY"`
	Focal      millimetres `help:"Flat back: from the hole to the paper." placeholder:"MM"`
	Diameter   millimetres `help:"Cylinder: inside diameter of the tin, the hole in its wall." placeholder:"MM"`
	Hole       millimetres `help:"Diameter of the hole. Without it: the best by Rayleigh's rule." placeholder:"MM"`
	Paper      string      `help:"Size of the sheet, like 12x9cm (width along the arc), or the key of a paper." placeholder:"SIZE"`
	Plate      millimetres `help:"Thickness of the plate that the hole is in." placeholder:"MM"`
	Subject    string      `help:"Distance of the subject, like 2m." default:"far" placeholder:"D"`
	Wavelength nanometres  `help:"Light the paper sees, in nm." placeholder:"NM"`
	Scan       string      `help:"Measure a hole: dots an inch of the scan, and how many pixels the hole is wide." placeholder:"DPI,PIXELS"`
	Rule       string      `help:"Measure a hole beside a rule, both magnified: width of the hole, width of a span of the rule, and the span in mm." placeholder:"HOLE,SEEN,MM"`
	JSON       bool        `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (PinholeCmd) Help() string {
	return `Examples:

  wetside pinhole --focal 75mm                        which hole is sharpest
  wetside pinhole --diameter 75mm --hole 0.5mm --paper 12x9cm
  wetside pinhole --camera tea-caddy --subject 1m
  wetside pinhole --scan 2400,47                      measure a scanned hole
  wetside pinhole --rule 31,620,10                    the hole seen 31 wide, 10 mm of rule 620`
}

// pinholeReport is what the command finds, and its JSON.
type pinholeReport struct {
	Back     string  `json:"back"`
	Focal    float64 `json:"focal_mm"`
	Hole     float64 `json:"hole_mm"`
	Plate    float64 `json:"plate_mm"`    // 0: taken as infinitely thin
	Chosen   bool    `json:"hole_chosen"` // false: the user's own
	FNumber  float64 `json:"f_number"`
	Nano     float64 `json:"wavelength_nm"`
	Rayleigh float64 `json:"best_rayleigh_mm"`
	Airy     float64 `json:"best_airy_mm"`
	Blur     struct {
		Subject     any     `json:"subject_mm"` // "far" or a number
		Geometric   float64 `json:"geometric_mm"`
		Diffraction float64 `json:"diffraction_mm"`
		Both        float64 `json:"both_mm"`
		Points      float64 `json:"points_on_100_mm"`
	} `json:"blur"`
	Paper  *behindHole `json:"paper,omitempty"`
	Widest float64     `json:"widest_paper_mm,omitempty"`
	Needle string      `json:"needle,omitempty"`

	sentence string
}

// behindHole is what the paper gets.
type behindHole struct {
	Width  float64  `json:"width_mm"`
	Height float64  `json:"height_mm"`
	Across float64  `json:"angle_across_deg"`
	Up     float64  `json:"angle_up_deg"`
	Side   *float64 `json:"loss_side_stops"` // null: no light comes there
	Top    *float64 `json:"loss_top_stops"`
	Corner *float64 `json:"loss_corner_stops"`
}

// Run reckons.
func (c *PinholeCmd) Run(h *host) error {
	if c.Scan != "" || c.Rule != "" {
		return c.measure(h)
	}
	r, err := c.reckon(h)
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(r)
	}
	h.say("%s", r.sentence)
	if r.Chosen {
		h.say("hole: %s mm, chosen by Rayleigh's rule; give yours with --hole", mm(r.Hole))
	}
	of := ""
	if r.Blur.Subject != "far" {
		of = " for that subject"
	}
	h.say("sharpest hole%s: %s mm by Rayleigh, %s mm by the Airy disc, in light of %s nm", of, mm(r.Rayleigh), mm(r.Airy), words.Num(r.Nano))
	h.say("a point becomes %s mm wide (shadow of the hole %s, diffraction %s): %s points on 100 mm of paper",
		mm(r.Blur.Both), mm(r.Blur.Geometric), mm(r.Blur.Diffraction), words.Decimals(r.Blur.Points, 0))
	if r.Paper != nil && r.Plate == 0 {
		h.say("an infinitely thin plate is assumed: --plate 0.1mm says how thick it is, and the ends and corners lose more")
	}
	if r.Widest > 0 {
		h.say("paper round the inside: at most %s mm, or it covers the hole", words.Decimals(r.Widest, 0))
	}
	if r.Needle != "" {
		h.say("needle to begin with: number %s (from memory, makers differ: measure the hole)", r.Needle)
	} else {
		h.say("needle to begin with: none fits; a drill of that diameter, or the point of a thin needle alone")
	}
	return nil
}

// camera is the one that the arguments describe, and the light it is looked at
// in, nm.
func (c *PinholeCmd) camera(set *profiles.Set) (cam exposure.Camera, nano float64, err error) {
	cam.Back, nano = exposure.Flat, cmp.Or(float64(c.Wavelength), exposure.PaperWavelength)
	if c.Camera != "" {
		p, err := set.Camera(c.Camera)
		if err != nil {
			return cam, nano, err
		}
		cam = exposure.Camera{Pinhole: exposure.Pinhole{Diameter: p.Pinhole.MM(), Focal: p.FocalMM()}, Back: exposure.Flat,
			Width: p.Sheet.W.MM(), Height: p.Sheet.H.MM(), Plate: p.Plate.MM()}
		if p.Shape == profiles.Cylinder {
			cam.Back = exposure.Cylinder
		}
	}
	switch {
	case c.Focal > 0 && c.Diameter > 0:
		return cam, nano, fmt.Errorf("a back is flat (--focal) or round (--diameter of the tin), not both: give one")
	case c.Focal > 0:
		cam.Back, cam.Pinhole.Focal = exposure.Flat, float64(c.Focal)
	case c.Diameter > 0:
		cam.Back, cam.Pinhole.Focal = exposure.Cylinder, float64(c.Diameter)
	case c.Camera == "":
		return cam, nano, fmt.Errorf("say which camera: --camera KEY, --focal 75mm for a flat back, or --diameter 75mm for a tin")
	}
	if c.Hole > 0 {
		cam.Pinhole.Diameter = float64(c.Hole)
	}
	if c.Plate > 0 {
		cam.Plate = float64(c.Plate)
	}
	if c.Paper != "" {
		z, sees, err := c.size(set)
		if err != nil {
			return cam, nano, err
		}
		cam.Width, cam.Height = z.W.MM(), z.H.MM()
		if c.Wavelength == 0 && sees > 0 {
			nano = sees.NM()
		}
	}
	return cam, nano, nil
}

// size is that of the paper, which is given as such or by a key, and what light it sees; 0:
// not said.
func (c *PinholeCmd) size(set *profiles.Set) (z profiles.Size, sees profiles.Length, err error) {
	if z.UnmarshalText([]byte(c.Paper)) == nil {
		return z, 0, nil
	}
	p, err := set.Paper(c.Paper)
	if err != nil {
		return z, 0, fmt.Errorf("--paper is a size like 12x9cm or the key of a paper: %w", err)
	}
	return p.Size, p.Sees, nil
}

func (c *PinholeCmd) reckon(h *host) (*pinholeReport, error) {
	cam, nano, err := c.camera(h.known())
	if err != nil {
		return nil, err
	}
	subject := math.Inf(1)
	if c.Subject != "far" {
		d, err := exposure.ParseLength(c.Subject)
		if err != nil {
			return nil, fmt.Errorf("--subject is far, or a distance: %w", err)
		}
		subject = d
	}

	r := &pinholeReport{Back: string(cam.Back), Focal: cam.Pinhole.Focal, Nano: nano}
	var airy, number error
	r.Rayleigh, err = exposure.BestDiameter(exposure.Rayleigh, cam.Pinhole.Focal, subject, nano)
	r.Airy, airy = exposure.BestDiameter(exposure.Airy, cam.Pinhole.Focal, subject, nano)
	if err := cmp.Or(err, airy); err != nil {
		return nil, err
	}
	if cam.Pinhole.Diameter == 0 {
		cam.Pinhole.Diameter, r.Chosen = r.Rayleigh, true
	}
	r.Hole, r.Plate = cam.Pinhole.Diameter, cam.Plate
	r.FNumber, number = cam.Pinhole.FNumber()
	b, err := cam.Pinhole.Blur(subject, nano)
	if err := cmp.Or(number, err); err != nil {
		return nil, err
	}
	r.Blur.Subject = "far"
	if !math.IsInf(subject, 1) {
		r.Blur.Subject = subject
	}
	r.Blur.Geometric, r.Blur.Diffraction, r.Blur.Both, r.Blur.Points = b.Geometric, b.Diffraction, b.Both, b.AcrossField
	if cam.Back == exposure.Cylinder {
		if r.Widest, err = exposure.WidestPaper(cam.Pinhole.Focal, r.Hole); err != nil {
			return nil, err
		}
	}
	r.sentence = "f/" + words.Sig(r.FNumber, 3)
	if cam.Width > 0 {
		if err = r.onPaper(cam); err != nil {
			return nil, err
		}
	}
	if n, ok := exposure.NeedleFor(r.Hole); ok {
		r.Needle = n.Gauge
	}
	return r, nil
}

// onPaper is what the paper behind the hole gets.
func (r *pinholeReport) onPaper(cam exposure.Camera) (err error) {
	r.sentence, err = cam.Sentence()
	a, angle := cam.AngleOfView()
	l, loss := cam.Loss()
	if err := cmp.Or(err, angle, loss); err != nil {
		return err
	}
	r.Paper = &behindHole{cam.Width, cam.Height, a.Across, a.Up, finite(l.Side), finite(l.Top), finite(l.Corner)}
	return nil
}

func (c *PinholeCmd) measure(h *host) error {
	m, err := c.measured()
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(struct {
			MM        float64 `json:"hole_mm"`
			PlusMinus float64 `json:"plus_minus_mm"`
			Stops     float64 `json:"plus_minus_stops"`
		}{m.MM, m.PlusMinus, m.Stops()})
	}
	h.say("%s", m.Sentence())
	return nil
}

func (c *PinholeCmd) measured() (m exposure.Measured, err error) {
	if c.Scan != "" && c.Rule != "" {
		return m, errors.New("measure by --scan or by --rule, not both")
	}
	if c.Scan != "" {
		v, err := numbers(c.Scan, 2)
		if err != nil {
			return m, fmt.Errorf("--scan is the scanner's dots an inch and the pixels across the hole, like 2400,47: %v", err)
		}
		return exposure.FromScan(v[0], v[1])
	}
	v, err := numbers(c.Rule, 3)
	if err != nil {
		return m, fmt.Errorf("--rule is the width of the hole, the width of a span of the rule, and that span in mm, like 31,620,10: %v", err)
	}
	// What was read last of the hole's width is the step of the reading.
	step, hole := 1.0, strings.TrimSpace(strings.SplitN(c.Rule, ",", 2)[0])
	if _, decimals, ok := strings.Cut(hole, "."); ok {
		step = math.Pow10(-len(decimals))
	}
	return exposure.FromRule(v[0], v[1], v[2], step)
}

// numbers reads n numbers with commas between; with semicolons, where the comma
// is that of the decimals.
func numbers(s string, n int) ([]float64, error) {
	between := ","
	if strings.Contains(s, ";") {
		between = ";"
	}
	parts := strings.Split(s, between)
	if len(parts) != n {
		return nil, fmt.Errorf("%q is not %d numbers with a comma between", s, n)
	}
	var out []float64
	for _, p := range parts {
		v, ok := words.ReadNumber(plainMinus(p))
		if !ok {
			return nil, fmt.Errorf("%q is no number", p)
		}
		out = append(out, v)
	}
	return out, nil
}

// mm writes the width of a hole or of what it makes of a point.
func mm(v float64) string { return words.Decimals(v, 2) }

// finite is nil for what is without end, which JSON has no number for.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) {
		return nil
	}
	return &v
}
