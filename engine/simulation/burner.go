package simulation

import "math"

// combustionAir is the air through the chamber, in kg/s, and the part of it that is fresh.
func (h *Heater) combustionAir() (flow, fresh float64) {
	b := &h.b
	out := b.exhaust * (1 - 0.6*b.coke)
	way := 0.4 + 0.3/(b.intake*b.intake) + 0.3/(out*out)
	flow = h.ratedAir * b.airDensity / 1.225 * h.speed / math.Sqrt(way)
	if b.wind > 0 {
		flow *= max(0.03, 1+1.1*b.wind*h.gust)
	}
	if b.waves && h.gust > 0.5 { // the end is under
		flow *= 0.02
	}
	if b.wet {
		flow *= 0.75 + 0.5*h.r.Float64()
	}
	fresh = 1
	if x := b.recirculated; x > 0 && h.lit {
		fresh = (1 - x) / (1 - x*(1-1/max(1, h.lambda)))
	}
	return max(flow, 1e-6), fresh
}

// burn vaporises what stands in the chamber, lights it, holds or loses the flame and heats wick, chamber and gas.
func (h *Heater) burn(arriving float64) {
	b, air := &h.b, h.in.Ambient+kelvin
	if b.wind > 0 || b.sloshing || b.waves {
		h.gust += Step / 3 * (10*(h.r.Float64()-0.5) - h.gust)
		h.gust = max(-1, min(1, h.gust))
	}
	flow, fresh := h.combustionAir()

	if arriving > 0 { // cold fuel joins the wick's
		c := wickHeat + h.film*heatOfFuel
		h.wick = (c*h.wick + arriving*heatOfFuel*air) / (c + arriving*heatOfFuel)
		h.film += arriving
	}
	vapour := h.vapour()
	if vapour > 0 {
		h.wick -= Step * vapour * vaporisation / (wickHeat + h.film*heatOfFuel)
		h.film -= vapour * Step
	}
	carried := vapour * (vaporisation + heatOfFuel*(h.wick-air))

	stoich := airForDiesel * (1 - b.water)
	h.lambda = 99
	if vapour > 1e-9 {
		h.lambda = flow * fresh / (vapour * stoich)
	}
	h.flame(vapour)
	burnt := 0.0
	if h.lit {
		burnt = min(vapour, flow*fresh/stoich)
	}
	heat := burnt * b.heating
	unburnt := vapour - burnt
	h.ledger.Burnt += burnt * Step
	h.ledger.Vented += unburnt * Step
	h.ledger.Chemical += heat * Step
	h.record.smoke(h, burnt, unburnt)

	toWick, toChamber := 0.045*(1-0.85*b.screen)*heat, 0.12*heat
	loss := wickLoss * h.speed / startingSpeed * (h.wick - air)
	h.wick += Step * (toWick - loss) / (wickHeat + h.film*heatOfFuel)
	conduct := 0.25 * h.in.Power * (h.chamber - h.shell)
	h.chamber += Step * (toChamber - conduct) / (chamberHeat * h.in.Power)
	h.shell += Step * conduct / (exchangerHeat * h.in.Power)
	h.gasHeat += heat - toWick - toChamber + loss + carried
	h.passGas(flow + vapour)
}

// vapour is the fuel that evaporates, in kg/s.
func (h *Heater) vapour() float64 {
	b := &h.b
	if h.film <= 0 {
		return 0
	}
	ready := min(3, math.Exp(clausius*(1/boiling-1/h.wick)))
	most := h.evaporates * (1 - 0.97*b.screen) * (1 - 0.75*b.coke) * (1 - 0.5*b.askew) * (1 - 0.9*b.water) * b.volatile
	return min(h.film/2, most*ready)
}

// flame lights the vapour or loses the flame.
func (h *Heater) flame(vapour float64) {
	b := &h.b
	at := 1 / h.lambda
	if !h.lit {
		near := at * localRichness * (1 - 0.6*b.askew) * (1 - 0.3*b.coke)
		surface := h.plug - b.plugCoat*(h.plug-300)*0.4
		hot := max(surface-igniting, 0) / 200
		if h.chamber > 800 {
			hot, near = 1, at*1.5
		}
		if hot > 0 && near > leanLimit && near < richLimit && h.r.Float64() < 0.4*hot*Step {
			h.lit, h.weak = true, 0
			h.record.lighting(h)
		}
		return
	}
	holds := vapour*b.heating > 0.045*h.in.Power*1000 && h.lambda > 0.55 && (h.lambda < 6 || h.chamber > 650)
	if holds && b.askew > 0.7 && h.r.Float64() < 0.01*Step*b.askew*4 {
		holds, h.weak = false, 99
	}
	if holds {
		h.weak = 0
		return
	}
	if h.weak += Step; h.weak > 3 {
		h.lit = false
		h.record.losing()
	}
}

// passGas gives the gas's heat to the exchanger and the rest to the exhaust. The wick's and plug's warmth is in it.
func (h *Heater) passGas(flow float64) {
	air := h.in.Ambient + kelvin
	capacity := flow * heatOfGas
	hot := air + h.gasHeat/capacity
	units := gasUnits / math.Sqrt(flow/(h.ratedAir*1.04)) * (1 - 0.3*h.b.coke)
	given := (1 - math.Exp(-units)) * capacity * (hot - h.shell)
	// A trickle of gas cannot carry what its heat would need: what it cannot, stays.
	h.exhaust = hot - given/capacity
	h.shell += Step * given / (exchangerHeat * h.in.Power)
	h.ledger.Exhaust += capacity * (h.exhaust - air) * Step
}

// warmShare is the part of the free warm air that passes inlet, exchanger and duct.
func (h *Heater) warmShare() float64 {
	a := h.b.outletOpen
	return h.b.ductShare * h.b.inletShare / math.Sqrt(0.7+0.3/(a*a))
}

// exchange gives the exchanger's heat to the warm air, and moves the sensor.
func (h *Heater) exchange() {
	b, power := &h.b, h.in.Power
	air := h.room
	flow := warmAirPerWatt * power * h.speed * h.warmShare() * b.airDensity / 1.225
	inlet := air + b.ownAir*(h.outlet-air)
	h.warmHeat = 0
	if flow > 1e-7 {
		capacity := flow * heatOfAir
		if math.Abs(h.speed-h.finSpeed) > 0.004 {
			h.finSpeed, h.fins = h.speed, uaPerWatt*power*math.Pow(h.speed*h.warmShare(), 0.7)
		}
		h.warmHeat = capacity * (1 - math.Exp(-h.fins/capacity)) * (h.shell - inlet)
		h.outlet = inlet + h.warmHeat/capacity
	} else {
		h.outlet = air + 0.2*(h.shell-air)
	}
	loss := 0.12 * power * (h.shell - air)
	h.shell -= Step * (h.warmHeat + loss) / (exchangerHeat * power)
	h.room += Step / (90e3 * power) * (h.warmHeat - 25*power*(h.room-h.in.Ambient-kelvin))
	h.ledger.Warm += h.warmHeat * Step
	h.ledger.Case += loss * Step
	true0 := h.in.Ambient + b.sensorCoupling*(h.shell-kelvin-h.in.Ambient) + b.sensorOffset
	h.sensed += Step / b.sensorLag * (true0 - h.sensed)
}
