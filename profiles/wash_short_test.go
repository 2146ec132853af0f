package profiles

import (
	"strings"
	"testing"
)

// A short wash, or changes of water, written for all paper is not passed over in
// silence where the times stand in fb and rc.
func TestAShortWashOutsideTheBasesIsNotLost(t *testing.T) {
	const head = `process = "hat-box"
name = "hat box"
[temperature]
reference = "20 C"
lowest = "16 C"
highest = "26 C"
coefficient = 2
[[bath]]
name = "clear"
[[bath]]
name = "wash tray"
[[step]]
stage = "hypo-clear"
bath = "clear"
target = "2m"
[[step]]
stage = "wash"
bath = "wash tray"
fb = {target = "30m"}
rc = {target = "4m"}
`
	for _, line := range []string{`short_after = "10m"`, `changes = 6`} {
		problems := CheckFile("hat-box.toml", []byte(head+line+"\n"))
		if len(problems) != 1 || !strings.Contains(problems[0].Text, "fb and rc") || problems[0].Line != 21 {
			t.Errorf("%s: %v", line, problems)
		}
	}
	if problems := CheckFile("hat-box.toml", []byte(head)); len(problems) > 0 {
		t.Error(problems)
	}
}
