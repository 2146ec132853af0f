package ember

import (
	"fmt"
	"strconv"
)

// relativeLuminance of an sRGB colour, where white is 1 and black 0
// (IEC 61966-2-1: the Y row of the RGB to XYZ matrix).
func relativeLuminance(r, g, b uint8) float64 {
	return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
}

// luminance is [relativeLuminance] of a colour written "#rrggbb".
func luminance(hex string) (float64, error) {
	if len(hex) != 7 || hex[0] != '#' {
		return 0, fmt.Errorf("%q is not a colour: write it #rrggbb", hex)
	}
	v, err := strconv.ParseUint(hex[1:], 16, 24)
	if err != nil {
		return 0, fmt.Errorf("%q is not a colour: write it #rrggbb", hex)
	}
	return relativeLuminance(uint8(v>>16), uint8(v>>8), uint8(v)), nil
}
