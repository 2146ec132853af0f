package words

// Each is what f makes of each of a list; nil of none.
func Each[T, U any](list []T, f func(T) U) (out []U) {
	for _, x := range list {
		out = append(out, f(x))
	}
	return out
}
