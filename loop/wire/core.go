package wire

import (
	"errors"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// OhmPerMetre is the resistance of one core of a cable at its temperature, ohms per metre. The
// error says why a cable has none: a size that no table holds, or more or less than one figure.
func OhmPerMetre(k *pb.Cable) (float64, error) {
	c, why := conduct(k)
	if why != "" {
		return 0, errors.New(why)
	}
	return c.ohmPerM, nil
}
