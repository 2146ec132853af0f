//go:build !linux

package lamps

// byHand is the report where lamps can be neither read nor set.
func byHand(held bool) []Finding {
	out := []Finding{
		{AboutPanel, "backlight", Unknown, "It cannot be set from here on this system: dim the screen by hand."},
		{AboutKeyboard, "keyboard light", Unknown, "It cannot be set from here on this system: if there is one, turn it off."},
	}
	if held {
		return append(out, Finding{AboutSleep, "sleep and lock screen", Safe, "Held off while a clock runs. Leave the lid open."})
	}
	return append(out, Finding{AboutSleep, "sleep and lock screen", Unknown, "Not held off until a clock runs."})
}
