package simulation

// What the tests look at inside.

// Stored is the heat in the heater's masses above ambient, in J.
func (h *Heater) Stored() float64 {
	air := h.in.Ambient + kelvin
	return h.b.plugHeat*(h.plug-air) + (wickHeat+h.film*heatOfFuel)*(h.wick-air) +
		h.in.Power*(chamberHeat*(h.chamber-air)+exchangerHeat*(h.shell-air))
}

// Standing is the kg of fuel in the chamber, InLine the kg in the line.
func (h *Heater) Standing() float64 { return h.film }

func (h *Heater) InLine() float64 {
	fuel, _ := h.line.content()
	return fuel * 1e-9 * h.b.density
}

// Tank is the kg in the tank.
func (h *Heater) Tank() float64 { return h.b.litres * 1e-3 * h.b.density }

func (h *Heater) StateOfCharge() float64 { return h.charge }
func (h *Heater) Capacity() float64      { return h.b.capacity }
func (h *Heater) Internal() float64      { return h.b.internal }
func (h *Heater) RestVolts() float64     { return h.b.emf }
func (h *Heater) Joint() float64         { return h.b.jointPlus }
func (h *Heater) Dose() float64          { return h.b.dose }

// Pump makes so many strokes and gives the µL that come out of the line.
func (h *Heater) Pump(strokes int) float64 {
	h.step(drive{awake: true})
	h.record.fuelOut = 0
	for range strokes {
		h.pumping(drive{awake: true, rate: 1 / Step})
	}
	return h.record.fuelOut
}

func (h *Heater) EmptyLine() { h.line.drain(h.b.lineVolume) }

// GlowFor holds the plug on for seconds with the fan still, and gives its temperature in K, its power and its
// resistance.
func (h *Heater) GlowFor(seconds float64) (kelvins, watts, ohms float64) {
	for t := 0.0; t < seconds; t += Step {
		h.electric(drive{awake: true, glow: true})
	}
	return h.plug, h.plugWatts, h.volts / h.plugAmps
}

func (h *Heater) PlugLosses(kelvins float64) (conducted, radiated float64) {
	air := h.in.Ambient + kelvin
	return h.fixedLoss * (kelvins - air), h.radiates * (kelvins*kelvins*kelvins*kelvins - air*air*air*air)
}
