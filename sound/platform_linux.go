package sound

func platform(cfg Config) []device { return []device{aplay{cfg.Env}, newBeep(cfg.Beeper)} }
