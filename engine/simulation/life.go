package simulation

import (
	"math"
	"slices"
)

// The shares of this file, how an owner goes about it, are judgement, no source.

// Live lets the owner use the heater until they ask for help: earlier starts that failed, priming, rests between, and
// the last attempt, which everything that is seen and measured is about.
func (h *Heater) Live() Record {
	r := h.stream("life", "")
	seconds := 900.0
	if h.b.ventShut || h.b.cut {
		seconds = 2400
	}
	h.rest(between(r, 4, 20) * 3600)
	if h.b.cut {
		h.Run(Attempt{Seconds: 600})
		h.rest(between(r, 20, 200))
	}
	more := 1 + int(-math.Log(1-r.Float64())*1.1)
	slowly := 0
	for try := 0; ; try++ {
		before := h.Clone()
		before.before = nil
		h.before = before
		rec := h.Run(Attempt{Seconds: seconds, ByRemote: h.in.Remote && (h.b.remoteDead || chance(r, 0.3))})
		if h.slow() && slowly == 0 { // once is no matter: nobody asks for help before it happens again
			slowly++
			h.rest(between(r, 3600, 36000))
			continue
		}
		if try+1 >= more || h.Complaint() == "" || rec.Lit > 0 && rec.Code == "none" {
			return rec
		}
		h.earlier = rec.Code
		h.rest(between(r, 300, 3600))
		if (rec.Phase == "no_flame" || rec.Code == "E-08") && !slices.Contains(h.faults, "line_not_primed") &&
			chance(r, 0.3) {
			h.primed = "until_full"
			strokes := between(r, 5, 40)
			if chance(r, 0.35) {
				h.primed, strokes = "well_beyond", between(r, 150, 700)
			}
			h.prime(strokes)
		}
	}
}

// prime runs the pump by its priming function until fuel stands at the burner, and so many strokes beyond.
func (h *Heater) prime(beyond float64) {
	for n := 0; n < 4000; n += 1 {
		was := h.ledger.Reached
		h.film += h.pumping(drive{awake: true, rate: 4})
		if h.ledger.Reached > was {
			if beyond -= 4 * Step; beyond < 0 {
				return
			}
		}
	}
}

// rest lets everything cool and the battery recover; fuel that creeps past the pump gathers in the chamber.
func (h *Heater) rest(seconds float64) {
	ambient := h.in.Ambient + kelvin
	left := math.Exp(-seconds / 700)
	for _, t := range []*float64{&h.plug, &h.wick, &h.chamber, &h.shell, &h.exhaust, &h.outlet} {
		*t = ambient + left*(*t-ambient)
	}
	h.room = ambient + math.Exp(-seconds/3600)*(h.room-ambient)
	h.sensed = h.in.Ambient + h.b.sensorCoupling*(h.shell-ambient) + h.b.sensorOffset
	h.sag *= math.Exp(-seconds / 40)
	h.speed, h.duty, h.lit, h.weak = 0, 0, false, 0
	if h.b.creep > 0 {
		crept := min(h.b.creep*seconds, 15e3, max(0, h.b.litres*1e6))
		m := crept * 1e-9 * h.b.density
		h.b.litres -= crept * 1e-6
		h.film += m
		h.ledger.Drawn, h.ledger.Reached = h.ledger.Drawn+m, h.ledger.Reached+m
	}
}

// Emerged are causes that came about by themselves and take part in the last attempt's failure: fuel that stood in the
// chamber before it, and a panel that had locked itself. What only the last attempt has brought about takes no part in
// it.
func (h *Heater) Emerged() []string {
	var out []string
	if h.before == nil {
		return nil
	}
	if h.before.film > 2e-3 && !slices.Contains(h.faults, "burner_flooded") && h.drowned() {
		out = append(out, "burner_flooded")
	}
	if h.before.b.locked && !slices.Contains(h.faults, "locked_out") {
		out = append(out, "locked_out")
	}
	return out
}

// drowned reports whether the last attempt, made again, goes otherwise with the chamber dry, or just so with all else
// mended.
func (h *Heater) drowned() bool {
	type outcome struct{ code, complaint, phase string }
	again := func(change func(c *Heater)) outcome {
		c := h.before.Clone()
		change(c)
		c.Run(h.tried)
		return outcome{c.record.Code, c.Complaint(), c.record.Phase}
	}
	wet := again(func(*Heater) {})
	if wet.complaint == "" {
		return false
	}
	return again(func(c *Heater) { c.film = 0 }) != wet || again((*Heater).mend) == wet
}

// mend makes all sound but the fuel in the chamber.
func (h *Heater) mend() {
	n := h.in.Nominal / 12
	h.in.Ambient, h.in.Altitude, h.in.Fuel, h.in.Clearance, h.in.PumpAngle, h.in.Lift = 10, 0, "winter_diesel", 20, 60, 0
	h.in.DuctLength, h.in.DuctBends, h.in.DuctDiameter = 0.5, 0, 90
	h.b = build(&h.in, h.stream("mended", ""))
	h.b.emf, h.b.slope, h.b.internal, h.b.polar, h.b.plus, h.b.minus = 12.7*n, 0, 0.01*n, 0.01*n, 0.01*n, 0.01*n
	h.imagined = ""
	h.line.fill(h.b.lineVolume)
	h.rest(3600)
}

// heard is for how many seconds a flame must burn before an owner takes the heater for lit, though its panel does not.
const heard = 40

// Complaint is what the owner would say is wrong, by the last attempt: a state of the catalogue's complaint, or
// nothing.
func (h *Heater) Complaint() string {
	rec, b := &h.record, &h.b
	switch {
	case rec.Unheard:
		return "remote_only"
	case rec.Blank && rec.Lit == 0:
		return "dead"
	case rec.Lit == 0 && rec.Soak && rec.Code != "E-05":
		return "fan_unasked"
	case rec.Lit == 0 || rec.Ready == 0 && (rec.Code == "none" || rec.Code == "E-10" && rec.litSeconds < heard):
		return "wont_start"
	case rec.Code != "none":
		return "starts_then_stops"
	case h.inside() > smelt || b.hotContact > smelt || b.outleak > 0 || b.creep > 0:
		return "smoke_or_smell"
	case rec.Late > 1.5e-3:
		return "wont_stop"
	case rec.Soak:
		return "fan_unasked"
	case b.scrape || b.whine || b.object && rec.Jerks > 0.1:
		return "noise"
	case h.smoking() != "none" && h.smoking() != "steam":
		return "smoke_or_smell"
	case rec.Bang || h.pulsing():
		return "noise"
	case b.roomBias < 0:
		return "wont_stop"
	case h.heatsLittle():
		return "little_heat"
	case h.slow():
		return "wont_start"
	}
	return map[string]string{"steam": "smoke_or_smell", "first_smell": "smoke_or_smell", "satisfied": "little_heat",
		"cooling": "fan_unasked"}[h.imagined]
}

// slow reports whether it lit late, or at the second try only, and then ran.
func (h *Heater) slow() bool {
	return h.record.Lit > 0 && h.record.Ready > 0 && h.record.Code == "none" &&
		(h.record.Lit > preglow+70 || h.record.Tries > 1)
}

// smelt is how bad a leak into the living space, or a hot contact, must be before a nose tells it.
const smelt = 0.25

// inside is how much exhaust comes in.
func (h *Heater) inside() float64 {
	if h.record.litSeconds < 30 {
		return 0
	}
	return max(h.b.exhaustInside, h.b.reenters, h.b.cracked)
}

func (h *Heater) pulsing() bool {
	return h.record.Pulses >= 3 && float64(h.record.Pulses) > (h.record.litSeconds-60)/90
}

func (h *Heater) heatsLittle() bool {
	rec := &h.record
	cold := h.in.Ambient < 18
	return cold && (rec.Heat < 0.6*1000*h.in.Power && h.room-kelvin < 17 || h.warmShare() < 0.5)
}

// smoking is what the exhaust looks like over the attempt.
func (h *Heater) smoking() string {
	rec := &h.record
	seen := purgePerStart * h.in.Power * 60e-3 / 3 // kg: a minute of thick smoke
	switch {
	case rec.White > seen && rec.Lit > 0 && rec.WhiteFirst > 0.95*rec.White && rec.White < 2*seen:
		return "white_thin" // a puff as it lights
	case rec.White > seen:
		return "white_thick"
	case rec.Black > 0.25*h.rated*max(60, rec.litSeconds):
		return "black"
	case rec.Blue > 0.15*h.rated*max(60, rec.litSeconds):
		return "blue_grey"
	case rec.Lit > 0 && (h.in.Ambient < 4 || h.imagined == "steam"):
		return "steam"
	}
	return "none"
}

// silent reports whether exhaust comes in so thinly that nobody could perceive it.
func (h *Heater) silent() bool { x := h.inside(); return x > 0 && x <= smelt }

// Silent reports whether exhaust comes into the living space and neither nose nor alarm tells it.
func (h *Heater) Silent() bool { return h.silent() && h.Observe("co_alarm").State != "sounding" }
