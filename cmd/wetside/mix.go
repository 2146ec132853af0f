package main

import (
	"regexp"
	"slices"
	"strings"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/bench"
	"wetside/session/words"
)

// MixCmd reckons mixtures.
type MixCmd struct {
	Dilution string      `arg:"" optional:"" help:"Parts, stock first, water last: 1+9."`
	Make     millilitres `help:"How much is to come out." placeholder:"VOLUME"`
	Stock    millilitres `help:"How much stock there is: what it makes." placeholder:"VOLUME"`
	From     string      `help:"A solution at hand: a strength like 10%, or a dilution like 1+4." placeholder:"HAVE"`
	To       string      `help:"What it is to become: 2%, 1+9, or with --hot a temperature." placeholder:"WANT"`
	With     string      `help:"What it is mixed with: another strength, like 2%. Water, if not said." placeholder:"STRENGTH"`
	Hot      string      `help:"Temperature of the hot water, like 50C." placeholder:"T"`
	Cold     string      `help:"Temperature of the cold water." placeholder:"T"`
	JSON     bool        `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (MixCmd) Help() string {
	return `Examples:

  wetside mix 1+9 --make 500ml                        50 ml stock + 450 ml water
  wetside mix 1+9 --stock 40ml                        what 40 ml of stock makes
  wetside mix --from 10% --to 2% --make 1l            with water
  wetside mix --from 80% --with 20% --to 30% --make 600ml
  wetside mix --from 1+4 --to 1+9 --make 500ml        from a working solution
  wetside mix --hot 50C --cold 12C --to 20C --make 2l
  wetside mix --hot 122F --cold 54F --to 68F --make "1/2 gal"`
}

type mixPart struct {
	What string  `json:"what"`
	ML   float64 `json:"ml"`
}

// Run reckons.
func (c *MixCmd) Run(h *host) error {
	sentence, parts, err := c.parts()
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(struct {
			Sentence string    `json:"sentence"`
			Parts    []mixPart `json:"parts"`
		}{sentence, parts})
	}
	h.say("%s", sentence)
	h.which(c.Make, c.Stock)
	return nil
}

func (c *MixCmd) parts() (string, []mixPart, error) {
	if err := c.check(); err != nil {
		return "", nil, err
	}
	switch {
	case c.Dilution != "":
		return c.dilute()
	case c.Hot != "":
		return c.temper()
	case strings.Contains(c.From, "%"):
		return c.strength()
	case c.With != "":
		return "", nil, usage("--with is a strength: give --from and --to in percent too")
	}
	total := c.Make.ML
	solution, water, err := bench.FromWorking(c.From, c.To, total)
	if err != nil {
		return "", nil, err
	}
	return c.To + " to make " + measured(total) + ": " + measured(solution) + " of " + c.From + " and " + measured(water) + " of water",
		[]mixPart{{c.From, solution}, {"water", water}}, nil
}

// check says what of the arguments does not go together.
func (c *MixCmd) check() error {
	temper, from, dilute := c.Hot != "" || c.Cold != "", c.From != "", c.Dilution != ""
	n := len(slices.DeleteFunc([]bool{temper, from, dilute}, func(is bool) bool { return !is }))
	return slips(
		slip{n == 0, "say what to mix: 1+9 --make 500ml, --from 10% --to 2% --make 1l, or --hot 50C --cold 12C --to 20C --make 2l"},
		slip{n > 1, "a mixture is a dilution, a strength (--from) or a temperature (--hot, --cold): one of them at a time"},
		slip{c.Stock.ML > 0 && !dilute, "--stock goes with a dilution, like 1+9 --stock 40ml"},
		slip{c.Stock.ML > 0 && c.Make.ML > 0, "say how much is to come out (--make) or how much stock there is (--stock), not both"},
		slip{c.Make.ML == 0 && c.Stock.ML == 0, "say how much is to come out, like --make 500ml"},
		slip{dilute && c.To+c.With != "", "--to and --with go with --from: a dilution says all by itself"},
		slip{!dilute && c.To == "", "say what it is to become, with --to"},
		slip{(c.Hot == "") != (c.Cold == ""), "give both --hot and --cold"})
}

func (c *MixCmd) dilute() (string, []mixPart, error) {
	total := c.Make.ML
	if c.Stock.ML > 0 {
		s, err := bench.Strength(c.Dilution)
		if err != nil {
			return "", nil, err
		}
		total = c.Stock.ML / s
	}
	parts, err := bench.MixUp(c.Dilution, total)
	if err != nil {
		return "", nil, err
	}
	var out []mixPart
	for i, p := range parts {
		what := "stock"
		switch {
		case i > 0 && i == len(parts)-1:
			what = "water"
		case len(parts) > 2:
			what = "stock " + string(rune('A'+i))
		}
		out = append(out, mixPart{what, p.ML})
	}
	return bench.MixWords(c.Dilution, parts), out, nil
}

func (c *MixCmd) temper() (string, []mixPart, error) {
	var t [3]float64
	for i, s := range []string{c.Hot, c.Cold, c.To} {
		v, err := readCelsius(s)
		if err != nil {
			return "", nil, err
		}
		t[i] = v
	}
	hot, cold, err := bench.Temper(t[0], t[1], t[2], c.Make.ML)
	if err != nil {
		return "", nil, err
	}
	return c.Make.String() + " at " + profiles.Celsius(t[2]).String() + ": " + measured(hot) + " of hot and " + measured(cold) + " of cold; measure before use",
		[]mixPart{{"hot water", hot}, {"cold water", cold}}, nil
}

func (c *MixCmd) strength() (string, []mixPart, error) {
	have, err := percent(c.From)
	if err != nil {
		return "", nil, err
	}
	want, err := percent(c.To)
	if err != nil {
		return "", nil, err
	}
	with, name := 0.0, "water"
	if c.With != "" {
		if with, err = percent(c.With); err != nil {
			return "", nil, err
		}
		name = c.With
	}
	high, low, nameHigh, nameLow := have, with, c.From, name
	if with > have {
		high, low, nameHigh, nameLow = with, have, name, c.From
	}
	a, b, err := bench.Alligation(high, low, want, c.Make.ML)
	if err != nil {
		return "", nil, err
	}
	of := func(ml float64, s string) string { return measured(ml) + " of " + s }
	return c.To + " to make " + c.Make.String() + ": " + of(a, nameHigh) + " and " + of(b, nameLow), []mixPart{{nameHigh, a}, {nameLow, b}}, nil
}

func percent(s string) (float64, error) {
	t, ok := strings.CutSuffix(strings.TrimSpace(plainMinus(s)), "%")
	v, read := words.ReadNumber(t)
	if !ok || !read || v < 0 || v > 100 {
		return 0, usage("%q is no strength: write percent, like 10%%", s)
	}
	return v, nil
}

func readCelsius(s string) (float64, error) {
	s = plainMinus(s)
	if s != "" && strings.Trim(s, "0123456789.,-") == "" {
		s += " C"
	}
	var c profiles.Celsius
	if err := c.UnmarshalText([]byte(s)); err != nil {
		return 0, err
	}
	return float64(c), nil
}

// WashesCmd reckons changes of water.
type WashesCmd struct {
	To      string      `help:"How much of what was in the paper's water may remain: 1/1000, or 0.1%." default:"1/1000" placeholder:"SHARE"`
	Water   millilitres `help:"Water put into the tray at each change." default:"500ml" placeholder:"VOLUME"`
	Carry   millilitres `help:"Carried over by all sheets in the tray together. Without it, reckoned from paper and number." placeholder:"VOLUME"`
	Paper   string      `help:"The paper, for what it carries over." default:"direct-positive-fb" placeholder:"KEY"`
	Sheets  int         `help:"How many sheets are in the tray." default:"1" placeholder:"N"`
	Changes int         `help:"What so many changes leave, in place of how many it takes." placeholder:"N"`
	Flow    string      `help:"Running water in place of changes: litres a minute, like 2l/min; how long until that share." placeholder:"FLOW"`
	JSON    bool        `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (WashesCmd) Help() string {
	return `Examples:

  wetside washes                                  one sheet, half a litre, to a thousandth
  wetside washes --water 1l --sheets 4 --to 1/10000
  wetside washes --carry 20ml --water 500ml --changes 3
  wetside washes --flow 2l/min --water 4l

This is the mass balance of the water. Paper gives up what it has taken in more
slowly, fibre base above all: each change needs its soak, and the times of your
process stand.`
}

var flows = regexp.MustCompile(`^(.*?)\s*/\s*min(ute)?$`)

// Run reckons.
func (c *WashesCmd) Run(h *host) error {
	left, err := share(c.To)
	if err != nil {
		return usageError{err}
	}
	if c.Flow != "" {
		return c.running(h, left)
	}
	if c.Sheets < 1 || c.Sheets > 1000 {
		return usage("--sheets is how many are in the tray, from 1 to 1000, not %d", c.Sheets)
	}
	carry := c.Carry.ML
	if carry == 0 {
		p, err := h.known().Paper(c.Paper)
		if err != nil {
			return usageError{err}
		}
		carry = float64(c.Sheets) * bench.Carry(session.Base(p.Base), p.Size.AreaCM2())
	}
	n := c.Changes
	switch {
	case n < 0 || n > 1000:
		return usage("--changes is how many, from 1 to 1000, not %d", n)
	case n > 0:
		left, err = bench.WashedOut(1, carry, c.Water.ML, n)
	default:
		n, left, err = bench.Changes(carry, c.Water.ML, left)
	}
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(struct {
			Changes int     `json:"changes"`
			Left    float64 `json:"share_left"`
			Carry   float64 `json:"carry_ml"`
			Water   float64 `json:"water_ml"`
		}{n, left, carry, c.Water.ML})
	}
	h.say("%s of %s, with %s carried over: %s remains in the water", words.Count(n, "change"), c.Water, measured(carry), words.Part(left))
	h.which(c.Water, c.Carry)
	return nil
}

// running is for running water: how long until a share is left.
func (c *WashesCmd) running(h *host, left float64) error {
	if c.Changes != 0 || c.Carry.ML != 0 {
		return usage("water runs (--flow) or is changed (--changes, --carry), not both")
	}
	m := flows.FindStringSubmatch(strings.TrimSpace(c.Flow))
	var flow millilitres
	if m == nil || flow.UnmarshalText([]byte(m[1])) != nil {
		return usage("--flow is a volume a minute, like 2l/min, not %q", c.Flow)
	}
	d, err := bench.RunningFor(flow.ML, c.Water.ML, left)
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(struct {
			Seconds float64 `json:"seconds"`
			Left    float64 `json:"share_left"`
		}{d.Seconds(), left})
	}
	h.say("%s of running water until %s of what was in the water remains, as a stirred tank", words.Long(d.Seconds()), words.Part(left))
	h.which(c.Water, flow)
	return nil
}

// share reads "1/1000" or "0.1%".
func share(s string) (float64, error) {
	t, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, ok := words.ReadNumber(t)
	if percent {
		v /= 100
	}
	if !ok || !(v > 0 && v < 1) {
		return 0, usage("%q is no share that may remain: write 1/1000 or 0.1%%", s)
	}
	return v, nil
}
