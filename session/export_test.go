package session

// Tells is what the table of events says of how a sheet's record tells each kind.
func Tells() map[Kind]string {
	out := map[Kind]string{}
	for k, r := range rules {
		out[k] = r.tells
	}
	return out
}
