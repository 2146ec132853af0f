package tui

// Hook, if not nil, is called with the name of every key before anything else
// sees it. Only builds for tests set it: to see what the program leaves on the
// screen when it breaks off.
var Hook func(key string)
