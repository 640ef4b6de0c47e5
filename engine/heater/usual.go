package heater

import (
	"slices"

	"lightoff/engine/physics"
)

// What is usual for a small heater, for whoever computes without being told; common practice, no source.
const (
	UsualCapacity                  = 90 * physics.AmpereHour // of a battery
	UsualDose                      = 22 * physics.Microlitre // of a pump, a stroke
	UsualBore                      = 2 * physics.Millimetre  // of a rigid fuel line
	UsualEfficiency  physics.Share = 0.8
	UsualAirRatio                  = 1.15 // of a burner as set at sea level
	UnderVoltageLow  physics.Volt  = 10   // where boards of 12 V call the voltage too low: between this
	UnderVoltageHigh physics.Volt  = 10.8 // and this
)

// UsualGrades are the grades that fuel of a kind, a state of fuel_kind, may be, by season and country; none for a kind
// that is not known.
func UsualGrades(fuelKind string) []physics.Grade { return slices.Clone(plugging[fuelKind]) }

// UsualBlower is the warm-air fan of a small heater.
func UsualBlower() physics.Blower { return usualBlower }

// UsualRunning is what fan, board and pump draw beside the plug, on a nominal voltage of 12 or 24 V.
func UsualRunning(nominalVoltage physics.Volt) physics.Ampere {
	return startRunning * physics.Ampere(12/nominalVoltage)
}

// UsualStart is what a usual plug of the kind draws fifteen seconds after it is switched on, from about 11.5 V or twice
// that, with the running current beside it. A nominal voltage other than 12 or 24 V, or an unknown kind, gives
// *RangeError.
func UsualStart(kind physics.PlugKind, nominalVoltage physics.Volt) (physics.Ampere, error) {
	plug, err := physics.TypicalPlug(kind, nominalVoltage)
	if err != nil {
		return 0, err
	}
	r := must(plug.ResistanceAfter(startMoment))
	return physics.Ampere(11.5*nominalVoltage/12)/physics.Ampere(r) + UsualRunning(nominalVoltage), nil
}
