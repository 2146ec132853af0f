package bench

import (
	"cmp"
	"fmt"
	"strings"

	"wetside/session/words"
)

func sheetName(num int) string {
	if num <= 0 {
		return "the sheet"
	}
	return fmt.Sprint("sheet ", num)
}

// MixWords says how to mix: "1+9 to make 500 ml: 50 ml stock + 450 ml water".
func MixWords(dilution string, parts []Part) string {
	total := 0.0
	var p []string
	for i, x := range parts {
		total += x.ML
		what := "stock"
		switch {
		case i == len(parts)-1:
			what = "water"
		case len(parts) > 2:
			what = "stock " + string(rune('A'+i))
		}
		p = append(p, words.Millilitres(x.ML)+" ml "+what)
	}
	if len(p) < 2 {
		return dilution
	}
	return fmt.Sprintf("%s to make %s ml: %s", dilution, words.Millilitres(total), strings.Join(p, " + "))
}

// Words sums a maker up: "Ash: four sheets, three washed, one spoiled".
func (m MakerSum) Words() string {
	name := m.Maker
	name = cmp.Or(name, "no photographer named")
	p := []string{words.CountSpelled(m.Sheets, "sheet")}
	for _, x := range []struct {
		n    int
		what string
	}{{m.Washed, "washed"}, {m.Unwashed, "done, not washed in full"}, {m.Wet, "in the trays"}, {m.Waiting, "waiting"}, {m.Other, "not exposed"}, {m.Spoiled, "spoiled"}} {
		if x.n > 0 {
			p = append(p, words.Spelled(x.n)+" "+x.what)
		}
	}
	return name + ": " + strings.Join(p, ", ")
}
