//go:build !linux

package lamps

// byHand is the report where lamps can be neither read nor set.
func byHand(held bool) []Finding {
	out := []Finding{
		{About: AboutPanel, Lamp: "backlight", Detail: "it cannot be set from here on this system: dim the screen by hand."},
		{About: AboutKeyboard, Lamp: "keyboard light", Detail: "it cannot be set from here on this system: if there is one, turn it off."},
	}
	if held {
		return append(out, Finding{About: AboutSleep, Lamp: "sleep and lock screen", Verdict: Safe, Detail: "held off while a clock runs. Leave the lid open."})
	}
	return append(out, Finding{About: AboutSleep, Lamp: "sleep and lock screen", Detail: "not held off until a clock runs."})
}
