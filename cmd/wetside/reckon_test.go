package main

import (
	"strings"
	"testing"
	"time"
)

// What the shell reckons, the field screen reckons too, and the cases that fail
// plainly are answered by one sentence.
func TestReckonedOnTheFieldScreen(t *testing.T) {
	dir := t.TempDir()
	p := program{host: &host{data: dir, config: dir, state: dir, getenv: func(string) string { return "" }, now: time.Now, ctx: t.Context()}}
	for line, want := range map[string]string{
		"pinhole --camera tea-caddy":                    "f/150",
		"exposure EV 13 --camera tea-caddy":             "3 min 10 s",
		"preflash strip":                                "1",
		"mix 1+9 --make 500ml":                          "50 ml stock + 450 ml water",
		"washes --to 1/1000 --water 500ml --carry 20ml": "3 changes",
	} {
		out, err := p.reckoned(line)
		if err != nil || !strings.Contains(out, want) {
			t.Errorf("%s: %q, %v", line, out, err)
		}
	}
	for _, line := range []string{
		"exposure EV -20 --camera tea-caddy",
		"pinhole --focal 75mm --hole 0",
		"exposure EV 13 --fnumber wide",
		"pinhole --diameter 75mm --hole 0.5mm --paper 30x9cm",
		"backup /tmp/x", "", "pinhole --no-such-flag",
	} {
		out, err := p.reckoned(line)
		if err == nil || strings.Contains(strings.TrimSpace(err.Error()), "\n") || err.Error() == "" {
			t.Errorf("%s: %q, %v", line, out, err)
		}
	}
}
