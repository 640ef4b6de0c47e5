package simulation

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Heater is one heater with its supply, its faults and its state. It is for one goroutine.
type Heater struct {
	in     Installation
	b      body
	faults []string
	seed   uint64
	r      *rand.Rand

	line     line
	film     float64 // kg of fuel standing in the chamber
	charge   float64 // of the battery, 0 to 1
	start0   float64
	sag      float64 // V of slow polarisation
	plug     float64 // K
	wick     float64
	chamber  float64
	shell    float64 // exchanger
	sensed   float64 // °C that the board reads
	speed    float64 // of full speed
	duty     float64
	measured float64
	gust     float64
	pumpGas  float64 // µL
	strokes  float64 // parts of a stroke due
	lit      bool
	weak     float64 // s that the flame has been too weak
	room     float64 // K
	opened   bool    // protection has opened
	overload float64

	volts, batteryVolts, amps, plugAmps, plugWatts float64
	gasHeat, warmHeat, exhaust, outlet, lambda     float64
	ledger                                         Ledger

	// The owner's and the panel's memory.
	failed, attempts      int // failed: starts that the panel counts against itself
	unlit                 int // starts in a row without a flame, as the owner counts them
	earlier, primed       string
	imagined              string
	displaced, panelFault bool
	boardFault, loomFault bool
	record                Record
	rated, ratedAir       float64 // kg/s
	temper, fixedLoss     float64 // of the plug
	fanAmps               float64 // of the fan at full speed, at 12 V
	evaporates            float64 // kg/s at the boiling point
	finSpeed, fins        float64 // the speed for which fins, W/K, was worked out
	radiates              float64
	before                *Heater // as it was before the last attempt
	tried                 Attempt // the last attempt
}

// Ledger is what went in and out since the heater was built: kg of fuel, J, and A s.
type Ledger struct {
	// fuel: from the tank, to the chamber, lost on the way, burnt, unburnt out of the exhaust
	Drawn, Reached, Leaked, Burnt, Vented float64
	Chemical, Electric                    float64 // J: of the fuel burnt, into the plug
	Warm, Exhaust, Case                   float64 // J: carried off by warm air, by exhaust, by the casing
	Charge                                float64 // A s out of the battery
	// J: by the battery's open voltage; lost inside it, in the feed; taken by the heater
	Battery, Inside, Feed, Load float64
}

// New builds a heater from a seed with faults in it. An installation that suits the faults is drawn first.
func New(seed uint64, faults ...string) (*Heater, error) {
	h := &Heater{seed: seed, r: rand.New(rand.NewPCG(seed, 1)), faults: slices.Clone(faults)}
	h.in = Draw(h.r)
	return h, h.assemble()
}

// NewIn builds a heater in a given installation, whatever its faults would make of it.
func NewIn(in Installation, seed uint64, faults ...string) (*Heater, error) {
	h := &Heater{seed: seed, r: rand.New(rand.NewPCG(seed, 1)), faults: slices.Clone(faults), in: in}
	return h, h.assemble()
}

func (h *Heater) assemble() error {
	list := make([]fault, len(h.faults))
	for i, id := range h.faults {
		f, err := faultOf(id)
		if err != nil {
			return err
		}
		list[i] = f
	}
	// Each fault draws from its own stream, so that taking one out leaves the others as they were.
	for i := range list {
		if list[i].fit != nil {
			list[i].fit(&h.in, h.stream("fit", list[i].id))
		}
	}
	h.b = build(&h.in, h.stream("build", ""))
	h.settle()
	for i := range list {
		list[i].breaking(h, h.stream("break", list[i].id))
	}
	h.earlier, h.primed = "none", cmpOr(h.primed, "no")
	return nil
}

func cmpOr(a, b string) string {
	if a == "" {
		return b
	}
	return a
}

// stream is a generator of its own for a purpose, from the heater's seed.
func (h *Heater) stream(purpose, id string) *rand.Rand {
	hash := uint64(14695981039346656037) // FNV-1a
	for _, c := range []byte(purpose + "\x00" + id) {
		hash = (hash ^ uint64(c)) * 1099511628211
	}
	return rand.New(rand.NewPCG(h.seed, hash))
}

// settle puts everything at rest: cold, line full, battery rested.
func (h *Heater) settle() {
	ambient := h.in.Ambient + kelvin
	h.plug, h.wick, h.chamber, h.shell, h.room, h.exhaust, h.outlet = ambient, ambient, ambient, ambient, ambient, ambient,
		ambient
	h.sensed = h.in.Ambient
	h.charge, h.start0 = h.in.Charge, h.in.Charge
	h.line.fill(h.b.lineVolume)
	h.rated = h.in.Power * 1000 / 0.8 / 43e6
	h.ratedAir = h.rated * airForDiesel * airRatio
	h.fanAmps = 1.8 * math.Sqrt(h.in.Power/5)
	h.evaporates = 0.17e-3 * math.Pow(h.in.Power/5, 0.8)
	h.temper = (h.b.plugHot - h.b.plugCold) / (plugRated - 293)
	h.fixedLoss = 0.5 * h.b.plugRated / (plugRated - 293)
	h.radiates = 0.5 * h.b.plugRated / (math.Pow(plugRated, 4) - math.Pow(293, 4)) // ε A σ
}

// Clone is a copy that lives its own life from here.
func (h *Heater) Clone() *Heater {
	c := *h
	c.r = h.stream("clone", "")
	return &c
}

// Seed is what it was built from.
func (h *Heater) Seed() uint64 { return h.seed }

// Installation is where and how the heater is fitted.
func (h *Heater) Installation() Installation { return h.in }

// Faults are those that it was given.
func (h *Heater) Faults() []string { return slices.Clone(h.faults) }

// Ledger is what went in and out.
func (h *Heater) Ledger() Ledger { return h.ledger }

// drive is what the board asks for at a moment.
type drive struct {
	speed  float64 // of full speed
	glow   bool
	rate   float64 // strokes a second
	awake  bool    // board on
	vacant bool    // no power at all
}

// step moves the heater on by Step.
func (h *Heater) step(d drive) {
	if d.vacant {
		d = drive{}
	}
	h.electric(d)
	h.blow(d)
	fuel := h.pumping(d)
	h.burn(fuel)
	h.exchange()
}

// electric solves the supply and warms the plug.
func (h *Heater) electric(d drive) {
	b, scale := &h.b, 12/h.in.Nominal
	emf := b.emf + b.slope*(h.charge-h.start0) + b.lift - h.sag
	feed := b.plus + b.minus + b.jointPlus + b.jointMi
	r := b.internal + feed
	torque := h.speed*h.speed + b.drag
	running := 0.02 * scale
	if d.awake {
		running = (0.15 + h.duty*h.fanAmps*min(2, torque)) * scale
		if h.pumpCurrent() {
			running += d.rate * 0.04 * h.in.Nominal / b.nominalCoil
		}
	}
	if b.broken || h.opened {
		h.volts, h.amps, h.plugAmps, h.plugWatts = 0, 0, 0, 0
		h.batteryVolts = emf
		h.coolPlug(0)
		return
	}
	hot := b.plugCold + h.temper*(h.plug-293) + b.plugLead
	glowing := d.glow && !b.plugOpen && !b.plugShort && !b.boardPlug
	v, plugAmps := emf-running*r, 0.0
	if glowing {
		v /= 1 + r/hot
		full := 12.3 / scale
		share := 1.0
		if v > full { // the board doses the plug's voltage
			share = full * full / v / v
			v = (emf - running*r) / (1 + share*r/hot)
		}
		plugAmps = share * v / hot
	}
	if total := running + plugAmps; b.limit > 0 && total > b.limit {
		plugAmps = max(0, b.limit-running)
		v = min(v, max(2/scale, plugAmps*hot))
	}
	h.volts, h.amps, h.plugAmps = max(0, v), running+plugAmps, plugAmps
	h.batteryVolts = emf - h.amps*b.internal
	h.plugWatts = plugAmps * h.volts * (1 - b.plugLead/hot)
	h.guard()
	h.sag += Step / 40 * (h.amps*b.polar - h.sag)
	h.charge -= h.amps * Step / b.capacity
	h.ledger.Charge += h.amps * Step
	h.ledger.Battery += emf * h.amps * Step
	h.ledger.Inside += h.amps * h.amps * b.internal * Step
	h.ledger.Feed += (h.batteryVolts - h.volts) * h.amps * Step
	h.ledger.Load += h.volts * h.amps * Step
	h.coolPlug(h.plugWatts)
}

// guard is a lithium battery's protection.
func (h *Heater) guard() {
	b := &h.b
	if b.cutAmpere > 0 && h.amps > b.cutAmpere || b.cutVolt > 0 && h.batteryVolts < b.cutVolt {
		if h.overload += Step; h.overload > 2 {
			h.opened = true
		}
	} else {
		h.overload = 0
	}
}

// coolPlug warms the plug by what it is given and cools it by what it loses, to gauze, gas and liquid fuel that wets
// it.
func (h *Heater) coolPlug(watts float64) {
	air := h.in.Ambient + kelvin
	wet := 1 + 0.55*max(0, h.film*1e3-4)
	t4, a4 := h.plug*h.plug*h.plug*h.plug, air*air*air*air
	loss := h.fixedLoss*wet*(h.plug-air) + h.radiates*(t4-a4)
	h.plug += Step / h.b.plugHeat * (watts - loss)
	to := plugToWick * (1 - h.b.plugCoat) * (1 - 0.75*h.b.screen)
	h.wick += Step / (wickHeat + h.film*heatOfFuel) * loss * to
	h.gasHeat = loss * (1 - to)
	h.ledger.Electric += watts * Step
}

// blow turns the fan.
func (h *Heater) blow(d drive) {
	b := &h.b
	if !d.awake || h.volts < 1 || b.boardDead {
		h.duty = 0
	} else {
		seen := h.speed * b.pulses / 2 * b.pickup
		if b.boardSpeed {
			seen = 0
		}
		h.measured = seen
		h.duty = max(0, min(1, h.duty+0.25*(d.speed-seen)))
		if d.speed == 0 {
			h.duty = 0
		}
	}
	drag := b.drag
	if b.jam > 0 && h.r.Float64() < b.jamming {
		drag += b.jam
	}
	full := 1.15 * h.volts / h.in.Nominal
	want := max(0, h.duty*full-0.8*drag)
	if b.motorDead || drag > 0.95 && want < 0.4 {
		want = 0
	}
	h.speed += Step / 1.2 * (want - h.speed)
	if h.speed < 1e-4 {
		h.speed = 0
	}
}

func (h *Heater) pumpCurrent() bool { return !h.b.unplugged && !h.b.coilOpen && !h.b.boardPump }

// pumping gives the kg of fuel that reach the chamber in a step.
func (h *Heater) pumping(d drive) float64 {
	b := &h.b
	creep := 0.0
	if b.creep > 0 && b.litres > 0 {
		creep = b.creep * Step
		b.litres -= creep * 1e-6
		h.ledger.Drawn += creep * 1e-9 * b.density
	}
	if !d.awake || d.rate <= 0 || !h.pumpCurrent() || h.volts < 0.55*h.in.Nominal {
		h.strokes = 0
		return h.reach(creep, 0)
	}
	h.strokes += d.rate * Step
	fuel, gas := creep, 0.0
	for ; h.strokes >= 1; h.strokes-- {
		f, g := h.stroke()
		fuel, gas = fuel+f, gas+g
	}
	return h.reach(fuel, gas)
}

// stroke is one stroke of the pump: fuel and gas that it delivers, in µL.
func (h *Heater) stroke() (fuel, gas float64) {
	b := &h.b
	if b.stuck || b.reversed || b.coil < 0.5*b.nominalCoil {
		return 0, 0
	}
	dose := b.dose * b.worn * (1 - b.inletShut) // it cannot push more than goes in
	if b.valveShut {
		return 0, 0
	}
	flow := dose * 1e-9 / strokeTime
	need := b.head + b.tee + b.vacuum + b.suctionResistance*flow*(1+2.5*(b.filter*b.waxed*b.kink*b.strainer-1)/10)
	filled := max(0, min(1, 4*(1-need/pumpVacuum)))
	uncovered := b.litres <= b.pickupAt || b.sloshing && h.gust > 0.15*(b.litres-b.pickupAt)
	air := b.inleak * (0.5 + need/pumpVacuum)
	if uncovered {
		air = dose
	}
	room := max(0, dose*filled-h.pumpGas*0.5)
	air = min(air, room)
	fuel = room - air
	h.pumpGas += air
	gas = h.pumpGas * b.clears
	h.pumpGas -= gas
	b.litres -= fuel * 1e-6
	h.ledger.Drawn += fuel * 1e-9 * b.density
	if b.ventShut {
		b.vacuum += b.pressure * fuel * 1e-6 / b.tankAir
	}
	if b.outgas > 0 {
		gas += b.outgas * (0.4 + 1.2*h.r.Float64())
	}
	return fuel, gas
}

// reach moves the line on and gives the kg that arrive.
func (h *Heater) reach(fuel, gas float64) float64 {
	lost := fuel * h.b.outleak
	h.ledger.Leaked += lost * 1e-9 * h.b.density
	h.b.dripping += lost
	out, bubble := 0.0, 0.0
	if fuel > 0 || gas > 0 {
		out, bubble = h.line.push(fuel-lost, gas, h.b.gather)
	}
	h.record.fuelOut, h.record.gasOut = h.record.fuelOut+out, h.record.gasOut+bubble
	m := out * 1e-9 * h.b.density
	h.ledger.Reached += m
	return m
}
