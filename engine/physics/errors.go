package physics

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// RangeError tells that a quantity is not a number or lies where the formula says nothing. Field is the name that the
// quantity has in the catalogue of setup facts, or else in this package. Value, Min and Max are in Unit, which is the
// unit of daily use (mm², A h, µL) and not always that of the argument.
type RangeError struct {
	Field           string
	Value, Min, Max float64
	Unit            string
}

// Error names the quantity, its value and the range.
func (e *RangeError) Error() string {
	unit := e.Unit
	if unit != "" {
		unit = " " + unit
	}
	if e.Min == e.Max {
		return fmt.Sprintf("%s is %s%s, but must be %s%s", e.Field, number(e.Value), unit, number(e.Min), unit)
	}
	return fmt.Sprintf("%s is %s%s, but must lie between %s and %s%s", e.Field, number(e.Value), unit, number(e.Min),
		number(e.Max), unit)
}

// bound is a value and the range in which it must lie, all in unit.
type bound struct {
	field           string
	value, min, max float64
	unit            string
}

// in measures a value in units of scale.
func in[T ~float64](field string, value, scale T, min, max float64, unit string) bound {
	return bound{field, float64(value) / float64(scale), min, max, unit}
}

// roundingShare keeps a limit from being missed by the rounding of its unit.
const roundingShare = 1e-9

// violated also holds for a value that is not a number.
func (b bound) violated() bool {
	return !(b.value >= b.min-roundingShare*math.Abs(b.min) && b.value <= b.max+roundingShare*math.Abs(b.max))
}

func (b bound) err() error {
	if b.violated() {
		return &RangeError{b.field, b.value, b.min, b.max, b.unit}
	}
	return nil
}

// within checks all bounds and joins what is wrong.
func within(bounds ...bound) error {
	var all []error
	for _, b := range bounds {
		if err := b.err(); err != nil {
			all = append(all, err)
		}
	}
	if len(all) == 1 {
		return all[0]
	}
	return errors.Join(all...)
}

// nominal is the check of a nominal voltage, which is 12 or 24 V.
func nominal(v Volt) bound {
	if v < 18 {
		return in("nominal_voltage", v, 1, 12, 12, "V")
	}
	return in("nominal_voltage", v, 1, 24, 24, "V")
}

// number writes a value with six significant digits, or more where it has a larger whole part.
func number(x float64) string {
	if x == math.Trunc(x) && math.Abs(x) < 1e9 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', 6, 64)
}
