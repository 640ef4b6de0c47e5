package simulation

import (
	"math"
	"math/rand/v2"

	"lightoff/engine/physics"
)

// Answer is what an owner tells of one observation or setup fact: a state, a number, or that they can't tell.
type Answer struct {
	State             string
	Number            float64
	IsNumber, Unknown bool
}

// witness is an owner looking at one thing; wrong, vague and clumsy are how often they mistake what they see, can't
// tell, and the scatter of a reading. All of it is judgement, no source.
type witness struct {
	h *Heater
	r *rand.Rand
}

var unknown = Answer{Unknown: true}

// sees tells a state as it is, save for a mistake in some 3 % and no answer in some 4 %.
func (w witness) sees(truth string, others ...string) Answer {
	switch x := w.r.Float64(); {
	case truth == "" || x < 0.04:
		return unknown
	case x < 0.07 && len(others) > 0:
		return Answer{State: others[w.r.IntN(len(others))]}
	}
	return Answer{State: truth}
}

// hardly is as sees, where a look tells no more than so often.
func (w witness) hardly(found bool, rate float64, there, not string) Answer {
	if found && w.r.Float64() < rate {
		return w.sees(there)
	}
	return w.sees(not, there)
}

func (w witness) yes(is bool) Answer {
	if is {
		return w.sees("yes", "no")
	}
	return w.sees("no", "yes")
}

// plainly is as yes, for what leaps to the eye where it is, and what hardly anybody claims where it is not.
func (w witness) plainly(is bool) Answer {
	switch x := w.r.Float64(); {
	case x < 0.04:
		return unknown
	case x < 0.043:
		is = !is
	}
	return w.card(is)
}

// reads is a meter's reading with its error: a part of it and an amount.
func (w witness) reads(v, part, amount float64) Answer {
	if w.r.Float64() < 0.03 {
		return unknown
	}
	v = v*(1+part*w.r.NormFloat64()) + amount*w.r.NormFloat64()
	return Answer{Number: math.Round(v*1000) / 1000, IsNumber: true}
}

func (w witness) tells(s string) Answer { return Answer{State: s} }

// Observe is the answer to an observation of the catalogue, after Live. Asked again, it is the same. What the heater
// cannot show, or the package does not know, is unknown.
func (h *Heater) Observe(id string) Answer {
	f, ok := sights[id]
	if !ok {
		return unknown
	}
	w := witness{h, h.stream("observe", id)}
	a := f(w)
	if a.IsNumber && (math.IsNaN(a.Number) || math.IsInf(a.Number, 0)) {
		return unknown
	}
	return a
}

// Observations lists the ids that Observe knows.
func Observations() []string { return sortedKeys(sights) }

type sight = func(w witness) Answer

var sights map[string]sight

func init() {
	sights = map[string]sight{}
	for _, m := range []map[string]sight{seenFirst, seenFire, seenAir, seenSupply, seenFuel, seenControl, seenSafety,
		seenCloser} {
		for id, f := range m {
			sights[id] = f
		}
	}
}

// started reports whether the attempt came as far as turning the fan.
func (h *Heater) started() bool { return h.record.meanSpeed > 0 || h.record.Tries > 0 }

// trial is how long an owner lets it run, in s, to see whether a change does any good.
const trial = 420

// cures reports whether a change before the last attempt, made again as it was made, would have made it go well.
func (h *Heater) cures(change func(c *Heater)) bool {
	if h.before == nil {
		return false
	}
	well := func(seconds float64) bool {
		c := h.before.Clone()
		change(c)
		c.Run(Attempt{Seconds: seconds, ByRemote: h.tried.ByRemote})
		return c.Complaint() == "" && c.record.Lit > 0
	}
	// What goes well is watched for as long as it took to fail before.
	return well(trial) && (h.tried.Seconds <= trial || well(h.tried.Seconds))
}

func (w witness) cured(change func(c *Heater)) Answer {
	if w.h.cures(change) {
		return w.sees("cured")
	}
	return w.sees("not_cured")
}

var seenFirst = map[string]sight{
	"people_unwell": func(w witness) Answer { return w.card(w.h.inside() > 0.5 && chance(w.r, 0.25)) },
	"flames_or_smoke_inside": func(w witness) Answer {
		return w.card(w.h.b.hotContact > 0.95 && w.h.record.Lit > 0 && chance(w.r, 0.3))
	},
	"smell_exhaust_inside": func(w witness) Answer {
		return w.card(w.h.inside() > smelt || w.h.b.askew > 0.8 && w.h.record.litSeconds > 60 && chance(w.r, 0.3))
	},
	"smell_fuel": func(w witness) Answer {
		return w.card(w.h.b.outleak > 0.1 && w.h.record.Strokes > 20 || w.h.b.creep > 0 && chance(w.r, 0.6))
	},
	"smell_burning": func(w witness) Answer {
		return w.card(w.h.b.hotContact > smelt && w.h.record.Lit > 0 || w.h.jointWatts() > 40)
	},
	"co_alarm": func(w witness) Answer {
		in := &w.h.in
		switch {
		case !in.Alarm:
			return unknown
		case w.h.inside() > 0.15 && (in.AlarmTested || chance(w.r, 0.6)):
			return w.tells("sounding")
		case in.AlarmTested:
			return w.tells("silent_tested")
		}
		return w.tells("silent_untested")
	},
	"complaint": func(w witness) Answer {
		if c := w.h.Complaint(); c != "" {
			return w.tells(c)
		}
		return unknown
	},
	"fault_code": func(w witness) Answer { return w.tells(w.h.record.Code) },
	"earlier_code": func(w witness) Answer {
		if chance(w.r, 0.25) {
			return unknown
		}
		if w.h.earlier == w.h.record.Code { // asked is for another one
			return w.tells("none")
		}
		return w.tells(w.h.earlier)
	},
	"fails_when": func(w witness) Answer {
		h, b := w.h, &w.h.b
		switch {
		case h.in.Driving && (b.sloshing || b.wind > 0 || b.waves) && h.record.Lit > 0:
			return w.sees("while_driving")
		case b.link == linkFlaky:
			return w.sees("now_and_then", h.record.Phase)
		case h.record.Code == "none" && h.record.Lit == 0 && !h.record.Unheard && h.record.Resets == 0:
			return unknown
		}
		if h.slow() && h.Complaint() == "wont_start" { // the moment is that of lighting, not what comes after
			return w.sees(draw(w.r, share{"no_flame", 60}, share{"now_and_then", 20}, share{"keeps_running", 20}))
		}
		return w.sees(h.record.Phase)
	},
	"minutes_to_fail": func(w witness) Answer {
		if w.h.record.Code == "none" {
			return unknown
		}
		return w.reads(w.h.record.Ended/60, 0.15, 0.2).positive()
	},
	"failed_starts": func(w witness) Answer {
		n := w.h.unlit // in a row since it last burned, today's included
		switch {
		case n == 0:
			return w.sees("none", "one_or_two")
		case n < 3:
			return w.sees("one_or_two", "none", "three_or_more")
		}
		return w.sees("three_or_more", "one_or_two")
	},
	"primed": func(w witness) Answer { return w.sees(w.h.primed, "no") },
}

func (h *Heater) orSelf(other *Heater) *Heater {
	if h == nil {
		return other
	}
	return h
}

// card is an answer to the card of dangers: hardly anybody mistakes one.
func (w witness) card(is bool) Answer {
	if is {
		return w.tells("yes")
	}
	return w.tells("no")
}

func (a Answer) positive() Answer {
	a.Number = max(0, a.Number)
	return a
}

func (h *Heater) jointWatts() float64 {
	return h.record.GlowAmps * h.record.GlowAmps * max(h.b.jointPlus, h.b.jointMi)
}

var seenFire = map[string]sight{
	"smoke": func(w witness) Answer { return w.sees(w.h.smoking(), "none", "steam") },
	"smoke_when": func(w witness) Answer {
		rec := &w.h.record
		switch {
		case w.h.smoking() == "none" || w.h.smoking() == "steam":
			return unknown
		case rec.Late > rec.White+rec.Black:
			return w.sees("after_off")
		case rec.WhiteFirst+rec.BlackFirst > 0.8*(rec.White+rec.Black) && rec.Lit > 0:
			return w.sees("first_two_minutes", "throughout")
		}
		return w.sees("throughout", "first_two_minutes")
	},
	"bang_on_lighting": func(w witness) Answer { return w.yes(w.h.record.Bang) },
	"stops_when_off":   func(w witness) Answer { return w.yes(w.h.record.Late < 1.5e-3 || w.h.record.Lit == 0) },
	"exhaust_joints": func(w witness) Answer {
		if x := w.h.b.exhaustInside; x > 0 && chance(w.r, 0.85) {
			return w.sees(map[bool]string{true: "loose", false: "sooty"}[x > 0.6])
		}
		return w.sees("tight", "sooty")
	},
	"fuel_in_exhaust": func(w witness) Answer { return w.yes(w.h.film > 8e-3 && chance(w.r, 0.8)) },
	"exhaust_warms":   func(w witness) Answer { return w.yes(w.h.record.Warmed) },
	"exhaust_path": func(w witness) Answer {
		b := &w.h.b
		switch {
		case b.wet:
			return w.hardly(true, 0.75, "water", "clear")
		case b.exhaust < 0.6 && w.h.in.Ambient < 0:
			return w.hardly(true, 0.85, "snow_or_ice", "clear")
		}
		return w.hardly(b.exhaust < 0.6, 0.85, "blocked", "clear")
	},
	"intake_path": func(w witness) Answer { return w.hardly(w.h.b.intake < 0.6, 0.85, "blocked", "clear") },
	"flame_sound": func(w witness) Answer {
		switch {
		case !w.h.started():
			return unknown
		case w.h.record.litSeconds < 20:
			return w.sees("none")
		case w.h.pulsing():
			return w.sees("pulsing", "steady")
		}
		return w.sees("steady", "pulsing")
	},
	"time_to_light": func(w witness) Answer {
		if w.h.record.Lit == 0 {
			return unknown
		}
		if w.h.record.Lit > 300 {
			return w.sees("longer", "usual")
		}
		return w.sees("usual", "longer")
	},
	"burner_look": func(w witness) Answer { return w.hardly(w.h.b.coke > 0.45, 0.92, "coked", "clean") },
	"glow_plug_look": func(w witness) Answer {
		b := &w.h.b
		if b.plugBroken {
			return w.sees("broken", "clean")
		}
		return w.hardly(b.plugCoat > 0.25 || b.screen > 0.6, 0.75, "coked", "clean")
	},
	"screen_look": func(w witness) Answer { return w.hardly(w.h.b.screen > 0.5, 0.92, "coked", "clean") },
	"pipe_ends": func(w witness) Answer {
		if w.h.b.recirculated > 0 {
			return w.sees("side_by_side", "apart")
		}
		return w.hardly(chance(w.r, 0.12), 1, "side_by_side", "apart")
	},
}

var seenAir = map[string]sight{
	"outlet_flow": func(w witness) Answer {
		flow := w.h.record.Flow
		switch {
		case !w.h.started():
			return unknown
		case flow > 0.22:
			return w.sees("strong", "weak")
		case flow > 0.05:
			return w.sees("weak", "strong")
		}
		return w.sees("none", "weak")
	},
	"outlet_heat": func(w witness) Answer {
		hot := w.h.record.Outlet // of a run; a start that fails is felt at its warmest
		if hot == 0 {
			hot = w.h.record.MostOutlet
		}
		switch {
		case !w.h.started():
			return unknown
		case hot > 55:
			return w.sees("hot", "lukewarm")
		case hot > 28:
			return w.sees("lukewarm", "hot", "cold")
		}
		return w.sees("cold", "lukewarm")
	},
	"outlet_path":     func(w witness) Answer { return w.hardly(w.h.b.outletOpen < 0.5, 0.93, "blocked", "clear") },
	"inlet_clearance": func(w witness) Answer { return w.reads(w.h.in.Clearance, 0.05, 0.2).positive() },
	"fan_runs": func(w witness) Answer {
		switch {
		case !w.h.started() && w.h.record.Code != "blank_display":
			return unknown
		case w.h.record.Speed < 0.05 && w.h.record.meanSpeed < 0.05:
			return w.sees("no")
		case w.h.record.Jerks > 0.12:
			return w.sees("jerky", "yes")
		}
		return w.sees("yes")
	},
	"fan_by_hand": func(w witness) Answer {
		b := &w.h.b
		switch {
		case b.scrape:
			return w.sees("rubs", "stiff", "free")
		case b.object:
			return w.sees(draw(w.r, share{"rubs", 50}, share{"stiff", 40}, share{"free", 10}))
		case b.whine, b.motorDead:
			return w.hardly(true, 0.5, "stiff", "free")
		}
		return w.sees("free", "stiff")
	},
	"fan_noise": func(w witness) Answer {
		b := &w.h.b
		switch {
		case !w.h.started() && w.h.record.Code != "blank_display":
			return unknown
		case w.h.record.meanSpeed < 0.05:
			return w.sees("none")
		case b.scrape, b.object:
			return w.sees("scraping", "normal", "whine")
		case b.whine:
			return w.sees("whine", "scraping", "normal")
		}
		return w.sees("normal", "whine")
	},
	"fan_look":    func(w witness) Answer { return w.hardly(w.h.b.object, 0.93, "object", "clear") },
	"fan_magnets": func(w witness) Answer { return w.hardly(w.h.b.magnetLost, 0.95, "missing_or_loose", "both") },
	"blows_cold_unasked": func(w witness) Answer {
		return w.yes(w.h.in.Ambient+w.h.b.sensorOffset > hotStart && !w.h.record.Blank)
	},
}

var seenSupply = map[string]sight{
	"rest_voltage": func(w witness) Answer {
		h := w.h.before.orSelf(w.h)
		if h.b.shutOff {
			return w.reads(between(w.r, 0, 1.5), 0, 0.05).positive()
		}
		v := h.b.emf + h.b.slope*(h.charge-h.start0)
		if chance(w.r, 0.4) { // the charger was not stopped first
			v += h.b.lift
		}
		return w.reads(v, 0.004, 0.02)
	},
	"glow_voltage_battery": func(w witness) Answer { return w.glowing(w.h.record.GlowBattery) },
	"glow_voltage_heater":  func(w witness) Answer { return w.glowing(w.h.record.GlowVolts) },
	"panel_voltage": func(w witness) Answer {
		if w.h.record.Blank {
			return unknown
		}
		h := w.h.before.orSelf(w.h).Clone()
		h.step(drive{awake: true})
		return w.reads(h.volts, 0.01, 0.1)
	},
	"panel_voltage_glow": func(w witness) Answer {
		if w.h.record.GlowVolts == 0 {
			return unknown
		}
		return w.reads(w.h.record.GlowVolts, 0.01, 0.1)
	},
	"drop_positive": func(w witness) Answer { return w.drop(w.h.b.plus + w.h.b.jointPlus) },
	"drop_negative": func(w witness) Answer { return w.drop(w.h.b.minus + w.h.b.jointMi) },
	"start_current": func(w witness) Answer { return w.glowing(w.h.record.GlowAmps) },
	"joint_warm":    func(w witness) Answer { return w.yes(w.h.jointWatts() > 6) },
	"lights_dim_on_start": func(w witness) Answer {
		if w.h.record.GlowBattery == 0 {
			return unknown
		}
		at := w.h.record.GlowBattery
		if w.h.in.Feed != "battery" {
			at = w.h.record.GlowVolts
		}
		return w.yes(w.h.b.emf+w.h.b.lift-at > 1.1*w.h.in.Nominal/12)
	},
	"known_good_battery": func(w witness) Answer {
		return w.cured(func(c *Heater) {
			b, n := &c.b, c.in.Nominal/12
			b.emf, b.slope, b.internal, b.polar, b.lift, b.limit, b.cutAmpere, b.cutVolt = 12.7*n, 0, 0.008*n, 0.008*n, 0, 0, 0,
				0
			b.plus, b.minus, b.jointPlus, b.jointMi, b.broken = 0.005, 0.005, 0.002, 0.002, false
		})
	},
	"fuse": func(w witness) Answer { return w.hardly(w.h.b.fuseBlown, 0.97, "blown", "intact") },
	"display_nominal": func(w witness) Answer {
		if w.h.record.Blank {
			return unknown
		}
		return w.sees(map[bool]string{true: "24", false: "12"}[w.h.b.setFor > 18])
	},
	"display": func(w witness) Answer {
		rec := &w.h.record
		switch {
		case rec.Blank:
			return w.sees("blank")
		case rec.Resets > 0:
			return w.sees("restarts", "flickers")
		case w.h.b.link == linkFlaky:
			return w.hardly(true, 0.5, "flickers", "steady")
		}
		return w.sees("steady", "flickers")
	},
	"connectors": func(w witness) Answer {
		if w.h.jointWatts() > 60 { // what a fuse holder of plastic does not bear for long
			return w.hardly(true, 0.6, "scorched", "dry")
		}
		return w.hardly(w.h.b.damp || w.h.jointOhms() > 0.05*w.h.in.Nominal/12 && chance(w.r, 0.5), 0.9, "damp_or_green",
			"dry")
	},
	"glow_plug_resistance": func(w witness) Answer {
		switch b := &w.h.b; {
		case b.plugOpen:
			return w.reads(1e7, 0.1, 0)
		case b.plugShort:
			return w.reads(0.05, 0, 0.02).positive()
		}
		return w.reads(w.h.b.plugCold, 0.04, 0.06).positive()
	},
}

func (h *Heater) jointOhms() float64 { return max(h.b.jointPlus, h.b.jointMi) }

// glowing is a reading that there is only where the plug glowed.
func (w witness) glowing(v float64) Answer {
	if w.h.record.GlowVolts == 0 {
		return unknown
	}
	return w.reads(v, 0.006, 0.03)
}

func (w witness) drop(r float64) Answer {
	if w.h.record.GlowVolts == 0 {
		return unknown
	}
	return w.reads(w.h.record.GlowAmps*r, 0.01, 0.01).positive()
}

var seenFuel = map[string]sight{
	"pump_match": func(w witness) Answer {
		off := math.Abs(w.h.b.dose/w.h.b.counted-1) > 0.25
		return w.hardly(off, 0.7, "differs", "as_stated")
	},
	"pump_place": func(w witness) Answer {
		return w.hardly(w.h.in.Lift > 1.2, 0.95, "far_or_high", "near_tank")
	},
	"pump_coil_resistance": func(w witness) Answer { return w.reads(w.h.b.coil, 0.02, 0.1).positive() },
	"pump_ticks": func(w witness) Answer {
		b := &w.h.b
		switch {
		case w.h.record.Strokes < 10:
			return unknown
		case !w.h.pumpCurrent() || b.stuck || b.coil < 0.5*b.nominalCoil:
			return w.sees("none")
		case w.h.record.litSeconds > 60 && (b.inleak > 0.4*b.dose || b.clears < 0.3):
			return w.hardly(true, 0.3, "irregular", "regular")
		}
		return w.sees("regular", "irregular")
	},
	"pump_pulses": func(w witness) Answer {
		if w.h.record.Strokes < 10 && !w.h.b.boardPump {
			return unknown
		}
		return w.yes(!w.h.b.boardPump)
	},
	"pump_connector": func(w witness) Answer { return w.hardly(w.h.b.unplugged, 0.9, "loose", "firm") },
	"pump_arrow":     func(w witness) Answer { return w.hardly(w.h.b.reversed, 0.97, "wrong", "right") },
	"fuel_per_100_strokes": func(w witness) Answer {
		fuel, _ := w.h.trial(100)
		return w.reads(fuel/1000, 0.04, 0.05).positive()
	},
	"temporary_can": func(w witness) Answer {
		return w.cured(func(c *Heater) {
			b := &c.b
			sound := build(&c.in, c.stream("can", ""))
			// the pump and its strainer stay
			b.kink, b.filter, b.waxed, b.head, b.tee, b.vacuum, b.ventShut, b.valveShut = 1, 1, 1, 0, 0, 0, false, false
			b.litres, b.pickupAt, b.water, b.volatile, b.sloshing, b.inleak = 5, 0.1, 0, 1, false, 0.1
			b.viscosity, b.heating, b.petrol, b.creep = sound.viscosity, sound.heating, false, 0
			if !c.b.stuck && !c.b.reversed && c.pumpCurrent() { // the line is filled by the priming function first
				c.line.fill(b.lineVolume)
			}
		})
	},
	"cap_loosened": func(w witness) Answer {
		return w.cured(func(c *Heater) { c.b.vacuum, c.b.ventShut = 0, false })
	},
	"fuel_valve": func(w witness) Answer { return w.hardly(w.h.b.valveShut, 0.97, "closed", "open") },
	"tank_level": func(w witness) Answer {
		size := map[bool]float64{true: 12, false: 65}[w.h.in.Pickup == "own_tank"]
		switch x := w.h.b.litres / size; {
		case x > 0.75:
			return w.sees("full", "half")
		case x > 0.38:
			return w.sees("half", "quarter", "full")
		case x > 0.15:
			return w.sees("quarter", "half", "near_empty")
		}
		return w.sees("near_empty", "quarter")
	},
	"bubbles": func(w witness) Answer {
		if !w.h.in.SeeThrough {
			return unknown
		}
		fuel, gas := w.h.line.content()
		moved := w.h.record.gasOut / max(1, w.h.record.gasOut+w.h.record.fuelOut)
		part := max(gas/max(1, gas+fuel), moved)
		switch {
		case gas > 0.5*(gas+fuel):
			return w.sees("empty_line", "none")
		case part > 0.12:
			return w.sees("many", "few")
		case part > 0.02:
			return w.sees("few", "none", "many")
		}
		return w.sees("none", "few")
	},
	"fuel_at_burner": func(w witness) Answer {
		fuel, gas := w.h.trial(200)
		switch {
		case fuel < 0.1*200*w.h.b.counted:
			return w.sees("none")
		case gas > 0.06*fuel || fuel < 0.5*200*w.h.b.counted:
			return w.sees("spurts", "steady")
		}
		return w.sees("steady", "spurts")
	},
	"line_kink":   func(w witness) Answer { return w.hardly(w.h.b.kink > 3, 0.8, "yes", "no") },
	"wet_joint":   func(w witness) Answer { return w.hardly(w.h.b.outleak > 0, 0.88, "yes", "no") },
	"filter_look": func(w witness) Answer { return w.hardly(w.h.b.filter > 5, 0.88, "dirty", "clean") },
	"fuel_look": func(w witness) Answer {
		b := &w.h.b
		switch {
		case b.water > 0.1:
			return w.hardly(true, 0.85, "water_or_dirt", "clear")
		case b.waxed > 4:
			return w.hardly(true, 0.85, "cloudy", "clear")
		case b.volatile < 0.5 && w.h.in.Fuel != "biodiesel":
			return w.hardly(true, 0.6, "cloudy", "clear")
		}
		return w.sees("clear", "cloudy")
	},
	"petrol_suspected": func(w witness) Answer { return w.plainly(w.h.b.petrol && chance(w.r, 0.7)) },
}

// trial runs the pump by its priming function into a jar, for so many strokes: µL of fuel and of gas that come.
func (h *Heater) trial(strokes float64) (fuel, gas float64) {
	c := h.Clone()
	c.opened, c.b.inletShut = false, 0 // the hose is off at the burner
	c.step(drive{awake: true})
	c.record.fuelOut, c.record.gasOut = 0, 0
	for range int(strokes / 4 / Step) {
		c.pumping(drive{awake: true, rate: 4})
	}
	return c.record.fuelOut, c.record.gasOut
}

var seenControl = map[string]sight{
	"settings_look": func(w witness) Answer { return w.hardly(w.h.b.settings != "", 0.85, "not_as_wanted", "as_wanted") },
	"panel_temperature": func(w witness) Answer {
		if w.h.record.Blank || w.h.b.sensorOpen || w.h.b.sensorShort {
			return unknown
		}
		return w.reads(w.h.before.orSelf(w.h).sensed, 0, 2)
	},
	"works_from_panel": func(w witness) Answer {
		return w.yes(w.h.cures(func(c *Heater) { c.b.remoteDead = false })) // by the panel it does not matter
	},
	"controller_match": func(w witness) Answer {
		switch {
		case chance(w.r, 0.3):
			return unknown
		case w.h.b.mismatch:
			return w.sees("known_wrong", "known_good")
		}
		return w.sees("known_good")
	},
	"loom_wiggle": func(w witness) Answer {
		b := &w.h.b
		flexes := w.h.loomFault || b.plugLead > 0.5 || w.h.jointOhms() > 0.1*w.h.in.Nominal/12 && chance(w.r, 0.4) ||
			b.damp && chance(w.r, 0.4)
		return w.hardly(flexes, 0.75, "changes", "no_change")
	},
	"controller_swap": func(w witness) Answer {
		return w.cured(func(c *Heater) {
			if c.panelFault || c.b.mismatch {
				c.b.link = linkGood
			}
			// The new one is set right, and goes to where the old one was.
			c.b.panelDead, c.b.setFor, c.b.settings, c.b.remoteDead = false, c.in.Nominal, "", false
		})
	},
	"board_swap": func(w witness) Answer {
		return w.cured(func(c *Heater) {
			if c.boardFault {
				c.b.link = linkGood
			}
			c.b.boardDead, c.b.boardPlug, c.b.boardPump, c.b.boardSpeed, c.b.locked = false, false, false, false, false
		})
	},
	"sensor_seated": func(w witness) Answer { return w.hardly(w.h.displaced, 0.93, "no", "yes") },
	"sensor_resistance": func(w witness) Answer {
		b := &w.h.b
		switch {
		case b.sensorOpen:
			return w.reads(1e7, 0.1, 0)
		case b.sensorShort:
			return w.reads(0.5, 0.1, 0.1).positive()
		}
		at := w.h.in.Ambient + b.sensorOffset
		band, err := physics.SensorResistance(w.h.in.Sensor, physics.Celsius(max(-49, min(249, at))))
		if err != nil {
			return unknown
		}
		return w.reads(float64(band.Value), 0.02, 0)
	},
}
