package exposure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"wetside/session/exposure"
)

func TestBestDiameter(t *testing.T) {
	// Lord Rayleigh, "On pin-hole photography", Phil. Mag. 31 (1891):
	// d = 1.9 sqrt(f lambda); 100 mm, 550 nm.
	near(t, "Rayleigh", must(exposure.BestDiameter(exposure.Rayleigh, 100, math.Inf(1), 550)), 0.446, 0.0005)
	// The Airy criterion, d = sqrt(2.44 f lambda), for the same.
	near(t, "Airy", must(exposure.BestDiameter(exposure.Airy, 100, math.Inf(1), 550)), 0.366, 0.0005)

	for _, v := range append([]float64{0}, odd...) {
		_, err := exposure.BestDiameter(exposure.Airy, v, math.Inf(1), 550)
		sentence(t, fmt.Sprint("focal ", v), err)
		_, err = exposure.BestDiameter(exposure.Airy, 100, math.Inf(1), v)
		sentence(t, fmt.Sprint("wavelength ", v), err)
	}
	_, err := exposure.BestDiameter("best", 100, math.Inf(1), 550)
	sentence(t, "rule", err)
}

// The Airy criterion is where geometry and diffraction balance: no other hole
// gives a point less blur, far or near.
func TestBlurLeastAtAiry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(20, 1000).Draw(t, "focal")
		wl := rapid.Float64Range(350, 700).Draw(t, "wavelength")
		off := rapid.Float64Range(0.5, 2).Draw(t, "factor")
		subject := math.Inf(1)
		if rapid.Bool().Draw(t, "near") {
			subject = rapid.Float64Range(50, 5000).Draw(t, "subject")
		}
		best := must(exposure.BestDiameter(exposure.Airy, f, subject, wl))
		blur := func(d float64) float64 {
			return must((exposure.Pinhole{Diameter: d, Focal: f}).Blur(subject, wl)).Both
		}
		if blur(best*off) < blur(best)*(1-1e-12) {
			t.Fatalf("blur %g at %g times the best hole, %g at the best", blur(best*off), off, blur(best))
		}
	})
}

func TestBlurOfANearPoint(t *testing.T) {
	p := exposure.Pinhole{Diameter: 0.4, Focal: 100}
	// By similar triangles a point 100 mm before the hole throws a shadow of
	// twice the hole on paper 100 mm behind it.
	b := must(p.Blur(100, 450))
	near(t, "geometric", b.Geometric, 0.8, 1e-12)
	near(t, "diffraction", b.Diffraction, 2.44*450e-6*100/0.4, 1e-12)
	near(t, "both", b.Both, math.Hypot(b.Geometric, b.Diffraction), 1e-12)
	_, err := p.Blur(0, 450)
	sentence(t, "subject at 0", err)
	_, err = p.Blur(math.NaN(), 450)
	sentence(t, "subject NaN", err)
}

func TestFNumber(t *testing.T) {
	near(t, "f", must((exposure.Pinhole{Diameter: 0.4, Focal: 60}).FNumber()), 150, 1e-9)
	for _, p := range []exposure.Pinhole{{0, 60}, {0.4, 0}, {60, 0.4}, {2, 2}, {math.NaN(), 60}, {0.4, math.Inf(1)}, {-0.4, 60}, {0.4, -60}, {0.02, 20000}} {
		_, err := p.FNumber()
		sentence(t, fmt.Sprint(p), err)
	}
	for in, want := range map[string]float64{"f/150": 150, "F/150": 150, "150": 150, "f150": 150, "f 150": 150, " f/ 180.5 ": 180.5} {
		if got, err := exposure.ParseFNumber(in); err != nil || got != want {
			t.Errorf("%q: %v, %v", in, got, err)
		}
	}
	for _, in := range []string{"", "f/", "f/one hundred and fifty", "f/0", "f/-150", "f/1e9", "f/NaN", "1/150", "f/150 f/150"} {
		_, err := exposure.ParseFNumber(in)
		sentence(t, in, err)
	}
}

func TestParseLength(t *testing.T) {
	for in, want := range map[string]float64{"0.3": 0.3, "0.3 mm": 0.3, "12cm": 120, "300 um": 0.3, "4 in": 101.6, "1/64 in": 25.4 / 64, "0,35": 0.35, "4½ inches": 114.3, "1 m": 1000} {
		got, err := exposure.ParseLength(in)
		if err != nil {
			t.Errorf("%q: %v", in, err)
		}
		near(t, in, got, want, 1e-9)
	}
	for _, in := range []string{"", "mm", "wide", "-3 mm", "0", "3 furlongs", "NaN mm", "1e5"} {
		_, err := exposure.ParseLength(in)
		sentence(t, in, err)
	}
}

func camera(back exposure.Back, d, f, w, h float64) exposure.Camera {
	return exposure.Camera{Pinhole: exposure.Pinhole{Diameter: d, Focal: f}, Back: back, Width: w, Height: h}
}

func TestAngleOfView(t *testing.T) {
	// Paper as wide as twice the focal distance is seen under a right angle.
	a := must(camera(exposure.Flat, 0.3, 60, 120, 120).AngleOfView())
	near(t, "flat", a.Across, 90, 1e-9)
	// Half of a cylinder's wall, seen from the wall, under half of 180 degrees:
	// the inscribed angle (Euclid III.20).
	a = must(camera(exposure.Cylinder, 0.3, 100, math.Pi*50, 100).AngleOfView())
	near(t, "cylinder", a.Across, 90, 1e-9)
	near(t, "cylinder, up", a.Up, 2*math.Atan(0.5)*180/math.Pi, 1e-9)
}

func TestFlatFallOffIsCosToTheFourth(t *testing.T) {
	// The cos^4 law (W. J. Smith, Modern Optical Engineering, McGraw-Hill; from memory):
	// 45 degrees lose 2 stops.
	near(t, "45 degrees", must(camera(exposure.Flat, 0.3, 60, 120, 10).FallOff(60, 0)), 2, 1e-9)
	near(t, "middle", must(camera(exposure.Flat, 0.3, 60, 120, 10).FallOff(0, 0)), 0, 1e-12)
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(20, 500).Draw(t, "focal")
		x := rapid.Float64Range(-1, 1).Draw(t, "x") * f
		y := rapid.Float64Range(-1, 1).Draw(t, "y") * f
		got := must(camera(exposure.Flat, 0.3, f, 2*f, 2*f).FallOff(x, y))
		want := -4 * math.Log2(math.Cos(math.Atan(math.Hypot(x, y)/f)))
		if math.Abs(got-want) > 1e-9 {
			t.Fatalf("%g stops, want %g", got, want)
		}
	})
}

func TestCylinderLosesNothingAlongTheArc(t *testing.T) {
	c := camera(exposure.Cylinder, 0.3, 100, 300, 100)
	for x := -150.0; x <= 150; x += 10 {
		near(t, fmt.Sprint("arc ", x), must(c.FallOff(x, 0)), 0, 1e-9)
	}
	if top, end := must(c.FallOff(0, 50)), must(c.FallOff(150, 50)); !(end > top && top > 0) {
		t.Errorf("off the middle line: %g at the middle, %g at the end; it must be more where the wall is nearer", top, end)
	}
}

// Rays are let in through a hole in a cylinder's wall by the cosine law, and
// those that land on each patch of the inside are counted. Where the formula is
// right, the counts go with its integral over the patch. The formula is not used
// to make the rays.
func TestCylinderAgainstRays(t *testing.T) {
	const (
		D          = 100.0 // hole at the origin, axis of the cylinder at x = D/2
		arcs, rows = 8, 4
		arc, high  = 240.0, 100.0 // the paper
		rays       = 2_000_000
	)
	rng := rand.New(rand.NewPCG(1891, 1900))
	var hits [arcs][rows]int
	for range rays {
		// Lambert: the direction's part along the wall is uniform in a disc.
		r, a := math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
		vy, vz := r*math.Cos(a), r*math.Sin(a)
		vx := math.Sqrt(max(0, 1-r*r))
		// Where (x - D/2)^2 + y^2 = (D/2)^2 again.
		s := D * vx / (vx*vx + vy*vy)
		x, y, z := s*vx, s*vy, s*vz
		central := math.Atan2(y, x-D/2) // from the middle of the paper
		at := central * D / 2           // mm along the arc
		i := int(math.Floor((at + arc/2) / (arc / arcs)))
		j := int(math.Floor((z + high/2) / (high / rows)))
		if i >= 0 && i < arcs && j >= 0 && j < rows {
			hits[i][j]++
		}
	}
	c := camera(exposure.Cylinder, 0.3, D, arc, high)
	var want [arcs][rows]float64
	wantSum, hitSum := 0.0, 0
	const fine = 20
	for i := range arcs {
		for j := range rows {
			for k := range fine * fine {
				x := -arc/2 + (float64(i)+(float64(k%fine)+.5)/fine)*arc/arcs
				y := -high/2 + (float64(j)+(float64(k/fine)+.5)/fine)*high/rows
				want[i][j] += math.Exp2(-must(c.FallOff(x, y)))
			}
			wantSum += want[i][j]
			hitSum += hits[i][j]
		}
	}
	worst := 0.0
	for i := range arcs {
		for j := range rows {
			off := math.Log2(float64(hits[i][j]) / float64(hitSum) / (want[i][j] / wantSum))
			worst = max(worst, math.Abs(off))
			if math.Abs(off) > 0.03 {
				t.Errorf("patch %d,%d: %d rays, %+.3f stop from the formula", i, j, hits[i][j], off)
			}
		}
	}
	// The middle of the formula is also right in itself: a Lambert hole gives
	// 1/(pi D^2) of its light to a unit of area straight opposite.
	unit := arc / arcs * high / rows / (fine * fine)
	near(t, "all of it", float64(hitSum)/rays, wantSum*unit/(math.Pi*D*D), 0.002)
	t.Logf("worst of %d patches: %.4f stop", arcs*rows, worst)
}

func TestPaperRoundTheTin(t *testing.T) {
	near(t, "widest", must(exposure.WidestPaper(100, 0.5)), 100*math.Pi-0.5, 1e-9)
	if err := camera(exposure.Cylinder, 0.5, 100, 313, 100).Check(); err != nil {
		t.Errorf("313 mm in a tin of 314.2 mm: %v", err)
	}
	err := camera(exposure.Cylinder, 0.5, 100, 314, 100).Check()
	sentence(t, "covers its own pinhole", err)
	longer := camera(exposure.Cylinder, 0.5, 100, 315, 100).Check()
	sentence(t, "longer than the circumference", longer)
	if err.Error() == longer.Error() {
		t.Errorf("the two are told apart by nothing: %v", err)
	}
	for _, v := range append([]float64{0}, odd...) {
		sentence(t, fmt.Sprint("width ", v), camera(exposure.Flat, 0.5, 100, v, 100).Check())
		sentence(t, fmt.Sprint("height ", v), camera(exposure.Flat, 0.5, 100, 100, v).Check())
		_, err := camera(exposure.Cylinder, v, 100, 100, 100).Sentence()
		sentence(t, fmt.Sprint("hole ", v), err)
	}
	sentence(t, "back", camera("bent", 0.5, 100, 100, 100).Check())
	_, err = camera(exposure.Flat, 0.5, 100, 100, 100).FallOff(51, 0)
	sentence(t, "off the paper", err)
}

func TestCameraInWords(t *testing.T) {
	// Half a metre of nothing unusual: 90 degrees each way, cos^4 of 45 is 2
	// stops, of the corner's 54.7 degrees (cos^2 = 1/3) 2 log2(3) = 3.2.
	got := must(camera(exposure.Flat, 0.4, 60, 120, 120).Sentence())
	if want := "f/150, sees 90 degrees across and 90 up; loses 2 stops at the sides, 2 at top and bottom, 3.2 in the corners"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	// In a tin the sides lose nothing.
	l := must(camera(exposure.Cylinder, 0.4, 100, 200, 100).Loss())
	near(t, "side", l.Side, 0, 1e-9)
	near(t, "top", l.Top, 2*math.Log2(1.25), 1e-9)
	if !(l.Corner > l.Top) {
		t.Errorf("%+v", l)
	}
	sharp := must(exposure.FromScan(2540, 30)).Sentence()
	rough := must(exposure.FromScan(300, 3)).Sentence()
	if strings.Contains(sharp, "larger") || !strings.Contains(rough, "measure it larger") || !strings.Contains(sharp, "0.3 mm") {
		t.Errorf("%q %q", sharp, rough)
	}
}

func TestMeasuringAHole(t *testing.T) {
	m := must(exposure.FromScan(2540, 30))
	near(t, "scan", m.MM, 0.3, 1e-12)
	near(t, "its doubt", m.PlusMinus, 0.01, 1e-12)
	near(t, "in stops", m.Stops(), 2*math.Log2(0.31/0.3), 1e-12)
	// A millimetre of the rule fills 200 of anything, the hole 60.
	near(t, "rule", must(exposure.FromRule(60, 200, 1, 1)).MM, 0.3, 1e-12)
	// A hole of half a millimetre, seen 31 wide to the unit, is known to a
	// thirtieth, whatever span of the rule is in the picture.
	near(t, "rule's doubt", must(exposure.FromRule(31, 6200, 100, 1)).PlusMinus, 0.5/31, 1e-12)
	near(t, "seen large", must(exposure.FromRule(310, 6200, 10, 1)).PlusMinus, 0.5/50, 1e-12)
	for _, v := range append([]float64{0}, odd...) {
		_, err := exposure.FromScan(v, 30)
		sentence(t, fmt.Sprint("dpi ", v), err)
		_, err = exposure.FromScan(2400, v)
		sentence(t, fmt.Sprint("pixels ", v), err)
		_, err = exposure.FromRule(v, 200, 1, 1)
		sentence(t, fmt.Sprint("seen ", v), err)
		_, err = exposure.FromRule(60, v, 1, 1)
		sentence(t, fmt.Sprint("rule ", v), err)
		_, err = exposure.FromRule(60, 200, v, 1)
		sentence(t, fmt.Sprint("span ", v), err)
	}
	for i := 1; i < len(exposure.Needles); i++ {
		if exposure.Needles[i].Diameter >= exposure.Needles[i-1].Diameter {
			t.Errorf("needle %s is not thinner than the one before", exposure.Needles[i].Gauge)
		}
	}
	if n, ok := exposure.NeedleFor(0.45); !ok || n.Gauge != "10" {
		t.Errorf("for 0.45 mm: %v %v", n, ok)
	}
	if n, ok := exposure.NeedleFor(2); ok {
		t.Errorf("for 2 mm: %v", n)
	}
}

// A plate has two holes: where its front is, and where its back is. Rays from all
// over the first towards a place on the paper are counted that pass the second.
func TestAThickPlateAgainstRays(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 9))
	for _, c := range []struct {
		cam  exposure.Camera
		x, y float64
	}{
		{camera(exposure.Flat, 0.3, 60, 120, 100), 60, 20}, {camera(exposure.Flat, 0.3, 60, 120, 100), 10, 0},
		{camera(exposure.Cylinder, 0.5, 75, 120, 90), 60, 45}, {camera(exposure.Cylinder, 0.5, 75, 120, 90), 60, 0}, {camera(exposure.Cylinder, 0.5, 75, 120, 90), 0, 45},
	} {
		thin := must(c.cam.FallOff(c.x, c.y))
		d, f := c.cam.Pinhole.Diameter, c.cam.Pinhole.Focal
		// The place on the paper, the hole at the origin, its axis along z.
		px, pz := c.x, f
		if c.cam.Back == exposure.Cylinder {
			central := 2 * c.x / f
			px, pz = f/2*math.Sin(central), f/2+f/2*math.Cos(central)
		}
		for _, plate := range []float64{0.05, 0.1, 0.2} {
			const rays = 400_000
			through := 0
			for range rays {
				r, a := d/2*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
				// A ray comes from far and goes by the front's point on to the place;
				// the paper is far beside the hole, so all have one direction.
				x, y := r*math.Cos(a)+plate*px/pz, r*math.Sin(a)+plate*c.y/pz
				if math.Hypot(x, y) <= d/2 {
					through++
				}
			}
			c.cam.Plate = plate
			near(t, fmt.Sprintf("%s, %g mm, at %g,%g", c.cam.Back, plate, c.x, c.y), must(c.cam.FallOff(c.x, c.y))-thin, -math.Log2(float64(through)/rays), 0.02)
		}
	}
	// The README's tin: a tenth of a millimetre of plate and the corners lose 2.3.
	tin := camera(exposure.Cylinder, 0.5, 75, 120, 90)
	tin.Plate = 0.1
	near(t, "corner", must(tin.Loss()).Corner, 2.34, 0.02)
	// Steeper than the hole is wide for its depth, nothing comes.
	tin.Plate = 0.5
	if l := must(tin.Loss()); !math.IsInf(l.Corner, 1) || !strings.Contains(must(tin.Sentence()), "all light (the plate is in the way) in the corners") {
		t.Errorf("%+v: %s", l, must(tin.Sentence()))
	}
	if s := must(camera(exposure.Cylinder, 0.3, 100, 313, 100).Sentence()); !strings.Contains(s, "as good as all light in the corners") {
		t.Error(s)
	}
}
