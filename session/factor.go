package session

import "errors"

// A Part is one developing agent of a mixed developer: how many parts of it,
// and its factor when used alone.
type Part struct{ Parts, Factor float64 }

// MixedFactor returns the development factor of a developer with several
// agents: the mean of their factors weighted by their parts. The rule and its
// worked example are in B. E. Jones (ed.), Cyclopaedia of Photography, 1911,
// "Factorial development" (read in an online reprint; the edition from memory).
func MixedFactor(parts ...Part) (float64, error) {
	var sum, weight float64
	for _, p := range parts {
		if !(p.Parts > 0) || !(p.Factor > 0) || p.Parts > 1e9 || p.Factor > 1e3 {
			return 0, errors.New("each agent needs its parts and its factor, both above 0")
		}
		sum += p.Parts * p.Factor
		weight += p.Parts
	}
	if weight == 0 {
		return 0, errors.New("name at least one agent: its parts and its factor")
	}
	return sum / weight, nil
}
