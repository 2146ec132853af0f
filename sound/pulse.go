package sound

func newPulse(string) device { return nil }
