package exposure

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"wetside/session/words"
)

// PaperWavelength, in nanometres, is what blue-sensitive paper sees most of in
// daylight. From memory: undyed silver bromide and chlorobromide answer from
// the ultraviolet to about 500 nm, and daylight through air is weak below 400.
const PaperWavelength = 450.0

// Bounds of what is taken for a pinhole camera. They are wide: a matchbox and a
// room both fit.
const (
	minHole, maxHole   = 0.02, 20.0   // mm
	minFocal, maxFocal = 1.0, 20000.0 // mm
	minPaper, maxPaper = 1.0, 20000.0 // mm
	minF, maxF         = 1.0, 5000.0  // f-number
)

// A Pinhole is a hole of Diameter mm at Focal mm from the paper. On a cylinder
// with the hole in its wall the focal distance is the cylinder's diameter.
type Pinhole struct {
	Diameter float64
	Focal    float64
}

// check says what is wrong with the pinhole, or nil.
func (p Pinhole) check() error {
	if p.Diameter == 0 {
		return fmt.Errorf("a pinhole of 0 lets no light in: give its diameter in mm, such as 0.3")
	}
	if err := check("a pinhole", p.Diameter, minHole, maxHole, "mm"); err != nil {
		return err
	}
	if err := check("a focal distance", p.Focal, minFocal, maxFocal, "mm"); err != nil {
		return err
	}
	if p.Diameter >= p.Focal {
		return fmt.Errorf("a hole of %s mm at %s mm is no pinhole: check that the diameter comes first and the focal distance second", words.Num(p.Diameter), words.Num(p.Focal))
	}
	return nil
}

// FNumber is the focal distance over the diameter.
func (p Pinhole) FNumber() (float64, error) {
	if err := p.check(); err != nil {
		return 0, err
	}
	n := p.Focal / p.Diameter
	return n, check("an f-number", n, minF, maxF, "")
}

// ParseFNumber reads "f/150", "f150", "F 150" or "150".
func ParseFNumber(s string) (float64, error) {
	t := strings.ToLower(strings.TrimSpace(s))
	t = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(strings.TrimPrefix(t, "f")), "/"))
	n, ok := words.ReadDecimal(t)
	if !ok {
		return 0, fmt.Errorf("%q is not an f-number: type one such as f/150", words.Clip(s))
	}
	if err := check("an f-number", n, minF, maxF, ""); err != nil {
		return 0, err
	}
	return n, nil
}

// ParseLength reads a length in mm: "0.3", "0.3 mm", "12 cm", "300 um",
// "2 7/8 in", "5 ft 3 in".
func ParseLength(s string) (float64, error) {
	mm, _, err := words.ReadMeasure(s, words.Lengths)
	var comma *words.CommaError
	switch {
	case errors.As(err, &comma):
		return 0, err
	case err != nil && err != words.ErrNoUnit:
		return 0, fmt.Errorf("%q is not a length: type one such as 0.3 mm, 12 cm or 2 7/8 in", words.Clip(s))
	}
	return mm, check("a length", mm, 0.001, 1e6, "mm")
}

// A Criterion is a rule for the diameter that gives the sharpest picture.
type Criterion string

const (
	// Rayleigh is d = 1.9 sqrt(f lambda). Lord Rayleigh, "On pin-hole
	// photography", Phil. Mag. 31 (1891).
	Rayleigh Criterion = "Rayleigh"
	// Airy is d = sqrt(2.44 f lambda): the hole as wide as the Airy disc it
	// throws. It is also where [Pinhole.Blur] of a far point is least.
	Airy Criterion = "Airy"
)

// BestDiameter is the sharpest hole, in mm, by the rule c for a focal distance
// and a subject before the hole in mm (+Inf: far away), and a wavelength in nm
// (see [PaperWavelength]). A near subject wants a smaller hole: with it, 1/f
// becomes 1/f + 1/u, as it does in the radius of Fresnel's first zone.
func BestDiameter(c Criterion, focal, subject, wavelength float64) (float64, error) {
	if err := check("a focal distance", focal, minFocal, maxFocal, "mm"); err != nil {
		return 0, err
	}
	if err := checkSubject(subject); err != nil {
		return 0, err
	}
	if err := check("a wavelength", wavelength, 200, 2000, "nm"); err != nil {
		return 0, err
	}
	fl := focal / (1 + focal/subject) * wavelength * 1e-6
	switch c {
	case Rayleigh:
		return 1.9 * math.Sqrt(fl), nil
	case Airy:
		return math.Sqrt(2.44 * fl), nil
	}
	return 0, fmt.Errorf("%q is no rule for the diameter: choose %s or %s", words.Clip(string(c)), Rayleigh, Airy)
}

// A Blur is the width on the paper, in mm, of a point of the subject.
type Blur struct {
	Geometric   float64 // the hole's shadow: d (1 + f/u)
	Diffraction float64 // diameter of the Airy disc: 2.44 lambda f / d
	Both        float64 // the two in quadrature: an approximation, good to a few percent of what matters
	// AcrossField is how many such points fit side by side on 100 mm of paper.
	AcrossField float64
}

// Blur reckons the blur of a point at subject mm before the hole (+Inf: far
// away) for a wavelength in nm.
func (p Pinhole) Blur(subject, wavelength float64) (Blur, error) {
	if err := p.check(); err != nil {
		return Blur{}, err
	}
	if err := checkSubject(subject); err != nil {
		return Blur{}, err
	}
	if err := check("a wavelength", wavelength, 200, 2000, "nm"); err != nil {
		return Blur{}, err
	}
	var b Blur
	b.Geometric = p.Diameter * (1 + p.Focal/subject)
	b.Diffraction = 2.44 * wavelength * 1e-6 * p.Focal / p.Diameter
	b.Both = math.Hypot(b.Geometric, b.Diffraction)
	b.AcrossField = 100 / b.Both
	return b, nil
}

func checkSubject(mm float64) error {
	if math.IsInf(mm, 1) {
		return nil
	}
	return check("a subject distance", mm, 1, 1e9, "mm")
}

// A Back is the shape the paper is held in.
type Back string

const (
	Flat     Back = "flat"     // square to the hole's axis
	Cylinder Back = "cylinder" // round the inside wall of a tin, hole in the wall opposite the paper's middle
)

// A Camera is a pinhole with the paper behind it. Width is along the arc when
// the back is a cylinder.
type Camera struct {
	Pinhole Pinhole
	Back    Back
	Width   float64 // mm
	Height  float64 // mm
	Plate   float64 // mm, how thick the plate is that the hole is in; 0: not known, as if it were infinitely thin
}

// check says what is wrong with the camera, or nil.
func (c Camera) Check() error {
	if err := c.Pinhole.check(); err != nil {
		return err
	}
	if err := check("a plate", c.Plate, 0, 10, "mm"); err != nil {
		return err
	}
	if err := check("a paper width", c.Width, minPaper, maxPaper, "mm"); err != nil {
		return err
	}
	if err := check("a paper height", c.Height, minPaper, maxPaper, "mm"); err != nil {
		return err
	}
	switch c.Back {
	case Flat:
		return nil
	case Cylinder:
	default:
		return fmt.Errorf("%q is no shape of back: choose %s or %s", words.Clip(string(c.Back)), Flat, Cylinder)
	}
	round := math.Pi * c.Pinhole.Focal
	widest, err := WidestPaper(c.Pinhole.Focal, c.Pinhole.Diameter)
	if err != nil {
		return err
	}
	if c.Width > round {
		return fmt.Errorf("paper of %s mm is longer than the %s mm round the inside of this cylinder: cut it to less than %s mm", words.Num(c.Width), words.Sig(round, 4), words.Sig(math.Floor(widest), 4))
	}
	if c.Width > widest {
		return fmt.Errorf("paper of %s mm would cover its own pinhole: cut it to less than %s mm", words.Num(c.Width), words.Sig(math.Floor(widest), 4))
	}
	return nil
}

// WidestPaper is how long a strip round the inside of a cylinder may be, in mm,
// before its ends meet at the edges of the pinhole: pi D - d.
func WidestPaper(cylinder, hole float64) (float64, error) {
	if err := (Pinhole{hole, cylinder}).check(); err != nil {
		return 0, err
	}
	return math.Pi*cylinder - hole, nil
}

// An Angle is an angle of view in degrees.
type Angle struct {
	Across, Up float64
}

// AngleOfView is the angle the paper sees. On a cylinder an arc w is seen from
// the wall opposite under half its central angle, which is w/D.
func (c Camera) AngleOfView() (Angle, error) {
	if err := c.Check(); err != nil {
		return Angle{}, err
	}
	f := c.Pinhole.Focal
	across := 2 * math.Atan(c.Width/(2*f))
	if c.Back == Cylinder {
		across = c.Width / f
	}
	up := 2 * math.Atan(c.Height/(2*f))
	return Angle{across * 180 / math.Pi, up * 180 / math.Pi}, nil
}

// FallOff is the light lost, in stops (0 at the middle, positive is lost), at a
// point of the paper x mm along its width and y mm along its height from the
// middle. +Inf: no light comes there.
//
// Flat back: cos^4 of the angle from the axis. Cylinder: with theta = x/D,
// rho = D cos(theta): E/E0 = D^2 rho^2 cos^2(theta) / (rho^2 + y^2)^2, so that
// nothing is lost along the arc at y = 0. Of either, a plate of thickness T lets
// through what the two ends of the hole have in common as seen from there: two
// circles of the hole's diameter, T tan(angle) apart.
func (c Camera) FallOff(x, y float64) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := check("a place on the paper", x, -c.Width/2, c.Width/2, "mm"); err != nil {
		return 0, err
	}
	if err := check("a place on the paper", y, -c.Height/2, c.Height/2, "mm"); err != nil {
		return 0, err
	}
	e, tan := 0.0, 0.0 // of the angle from the hole's axis
	if f := c.Pinhole.Focal; c.Back == Cylinder {
		theta := x / f
		e = cylinderShare(f, theta, y)
		tan = math.Hypot(math.Sin(theta), y/(f*math.Cos(theta))) / math.Cos(theta)
	} else {
		e = flatShare(f, x, y)
		tan = math.Hypot(x, y) / f
	}
	e *= overlap(c.Plate * tan / c.Pinhole.Diameter)
	return max(0, -math.Log2(e)), nil
}

// overlap is the part that two equal circles have in common, q diameters apart.
func overlap(q float64) float64 {
	if q >= 1 {
		return 0
	}
	return 2 / math.Pi * (math.Acos(q) - q*math.Sqrt(1-q*q))
}

func flatShare(f, x, y float64) float64 {
	cos2 := f * f / (f*f + x*x + y*y)
	return cos2 * cos2
}

func cylinderShare(d, theta, h float64) float64 {
	rho := d * math.Cos(theta)
	r2 := rho*rho + h*h
	return d * d * rho * rho * math.Cos(theta) * math.Cos(theta) / (r2 * r2)
}

// A Loss is the light lost, in stops, at the places of the paper that matter.
type Loss struct {
	Side   float64 // middle of the short edge
	Top    float64 // middle of the long edge
	Corner float64
}

// Loss is the fall-off at side, top and corner.
func (c Camera) Loss() (Loss, error) {
	var l Loss
	var err error
	for _, at := range []struct {
		to   *float64
		x, y float64
	}{{&l.Side, c.Width / 2, 0}, {&l.Top, 0, c.Height / 2}, {&l.Corner, c.Width / 2, c.Height / 2}} {
		if *at.to, err = c.FallOff(at.x, at.y); err != nil {
			return Loss{}, err
		}
	}
	return l, nil
}

// A Needle is a sewing needle as a start for a hole. Its point makes any hole up
// to its shank's diameter.
type Needle struct {
	Gauge    string
	Diameter float64 // mm, of the shank
}

// Needles lists sewing needles from thick to thin. From memory, and makers
// differ by several hundredths: measure the hole (see [FromScan]).
var Needles = []Needle{
	{"4", 0.91}, {"5", 0.79}, {"6", 0.74}, {"7", 0.66}, {"8", 0.58},
	{"9", 0.51}, {"10", 0.46}, {"12", 0.41}, {"13", 0.33},
}

// NeedleFor is the needle to begin with for a hole of d mm: the nearest whose
// shank is no more than a tenth of a millimetre wider, so that the hole can be
// opened to size with the point. ok is false when the hole is wider than the
// thickest needle or thinner than the thinnest by more than that: then use the
// drill of that diameter, or the point alone.
func NeedleFor(d float64) (n Needle, ok bool) {
	best := math.Inf(1)
	for _, c := range Needles {
		if off := math.Abs(c.Diameter - d); off < best {
			n, best = c, off
		}
	}
	return n, best <= 0.1
}

// A Measured length is a length and how far it may be off, both in mm.
type Measured struct {
	MM        float64
	PlusMinus float64
}

// Stops is how far the exposure may be off because the hole is known no better:
// light goes with the square of the diameter.
func (m Measured) Stops() float64 { return 2 * math.Log2(1+m.PlusMinus/m.MM) }

// Sentence says the measurement and what it is worth.
func (m Measured) Sentence() string {
	s := fmt.Sprintf("the hole is %s mm across, give or take %s mm, which is %s stop in the exposure",
		words.Sig(m.MM, 3), words.Sig(m.PlusMinus, 1), words.Sig(m.Stops(), 1))
	if m.Stops() > 1.0/3 {
		s += ": measure it larger"
	}
	return s
}

// FromScan measures a hole scanned at dpi dots an inch, over so many pixels.
// One pixel is taken as the doubt.
func FromScan(dpi, pixels float64) (Measured, error) {
	if err := check("a scan", dpi, 50, 50000, "dpi"); err != nil {
		return Measured{}, err
	}
	if err := check("a hole", pixels, 2, 1e5, "pixels"); err != nil {
		return Measured{}, err
	}
	m := Measured{pixels * 25.4 / dpi, 25.4 / dpi}
	return m, check("a hole", m.MM, minHole, maxHole, "mm")
}

// FromRule measures a hole magnified (by a projector, or a picture of it beside
// a rule): span mm of the rule appear as wide as ruleSeen, the hole as holeSeen,
// both in the same unit of any kind. The doubt is that of the hole's edges, for a
// rule is read far better: step, the least difference that was read (1 where
// whole units were), but no less than a fiftieth of the hole. Judgement.
func FromRule(holeSeen, ruleSeen, span, step float64) (Measured, error) {
	if err := check("the hole as seen", holeSeen, 1e-3, 1e6, ""); err != nil {
		return Measured{}, err
	}
	if err := check("the rule as seen", ruleSeen, 1e-3, 1e6, ""); err != nil {
		return Measured{}, err
	}
	if err := check("a rule's span", span, 0.1, 1000, "mm"); err != nil {
		return Measured{}, err
	}
	mm := span / ruleSeen
	m := Measured{holeSeen * mm, max(step, holeSeen/50) * mm}
	return m, check("a hole", m.MM, minHole, maxHole, "mm")
}

// Sentence tells the camera in one line: f-number, angle of view, ends and
// corners.
func (c Camera) Sentence() (string, error) {
	n, err := c.Pinhole.FNumber()
	if err != nil {
		return "", err
	}
	a, err := c.AngleOfView()
	if err != nil {
		return "", err
	}
	l, err := c.Loss()
	if err != nil {
		return "", err
	}
	sides := words.StopsOf(l.Side)
	if l.Side > noLight {
		sides = lost(l.Side)
	}
	return fmt.Sprintf("f/%s, sees %s degrees across and %s up; loses %s at the sides, %s at top and bottom, %s in the corners",
		words.Sig(n, 3), words.Decimals(a.Across, 0), words.Decimals(a.Up, 0), sides, lost(l.Top), lost(l.Corner)), nil
}

// noLight is the loss, in stops, past which no exposure shows anything.
const noLight = 10.0

func lost(stops float64) string {
	switch {
	case math.IsInf(stops, 1):
		return "all light (the plate is in the way)"
	case stops > noLight:
		return "as good as all light"
	}
	return words.StopsNumber(stops)
}
