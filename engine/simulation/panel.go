package simulation

import "math"

// Attempt is one try to run the heater: for so many seconds of running, then switched off, and whether by the remote.
type Attempt struct {
	Seconds  float64
	ByRemote bool
}

type phase int

const (
	checking phase = iota
	cooling        // found hot, cools before it starts
	spinning
	glowing
	feeding
	purging
	settling
	running
	over
)

// panel is the controller's state in an attempt.
type panel struct {
	phase              phase
	since              float64 // s in this phase
	tries              int
	base, peak, level  float64 // °C, °C, demand
	under, overV, slow float64 // s that a fault has lasted
	lightedSeen        float64
	asked              float64 // fan speed last asked for
}

// Run makes an attempt and tells how it went. The heater is left as the attempt leaves it.
func (h *Heater) Run(a Attempt) Record {
	h.record = Record{Code: "none", Phase: "keeps_running", LeastVolts: 99}
	rec := &h.record
	h.tried = a
	h.opened, h.overload = false, 0
	h.attempts++
	if h.b.remoteDead && a.ByRemote {
		rec.Unheard, rec.Phase = true, "at_once"
		return *rec
	}
	if h.blank() {
		return h.darkness()
	}
	var p panel
	limit := a.Seconds + 1800
	for rec.now = 0; rec.now < limit && p.phase != over; rec.now += Step {
		d := h.decide(&p)
		p.asked = d.speed
		if p.phase == over {
			break
		}
		if p.phase == running && rec.now >= a.Seconds {
			h.finish(&p, "none", "keeps_running")
			break
		}
		h.step(d)
		h.note(&p, d)
	}
	if p.phase != over {
		h.finish(&p, "none", "keeps_running")
	}
	h.coolDown(&p)
	return *rec
}

// blank reports whether the panel shows nothing at all.
func (h *Heater) blank() bool {
	b := &h.b
	h.step(drive{awake: true})
	return h.volts < resetVolt*0.6*h.in.Nominal/12 || b.panelDead
}

func (h *Heater) darkness() Record {
	rec := &h.record
	rec.Code, rec.Phase, rec.Blank = "blank_display", "at_once", true
	h.count()
	return *rec
}

// count keeps how often in a row it failed to light.
func (h *Heater) count() {
	if h.record.Lit > 0 {
		h.unlit = 0
	} else {
		h.unlit++
	}
}

// finish ends the attempt with a code.
func (h *Heater) finish(p *panel, code, when string) {
	h.record.Code, h.record.Phase, h.record.Ended = code, when, h.record.now
	h.record.Ready = p.lightedSeen
	h.record.Tries = p.tries
	if code != "none" && h.record.Lit == 0 && (code == "E-10" || code == "E-08" || code == "E-03" || code == "E-04") {
		h.failed++
	}
	p.phase = over
}

func (p *panel) to(next phase) { p.phase, p.since = next, 0 }

// decide is the board's and panel's part in a step: what it sees first wins.
func (h *Heater) decide(p *panel) drive {
	rec := &h.record
	p.since += Step
	if h.guards(p) {
		return drive{}
	}
	switch p.phase {
	case checking:
		return h.check(p)
	case cooling:
		if h.sensed < hotStart-10 {
			p.to(spinning)
		} else if p.since > 300 {
			h.finish(p, "E-05", "at_once")
		}
		return drive{awake: true, speed: 0.9}
	case spinning:
		if p.since > 12 {
			if h.circuits(p) {
				return drive{awake: true}
			}
			p.to(glowing)
			p.tries++
		}
		return drive{awake: true, speed: 0.8}
	case glowing:
		if p.since > 6 && p.since < 6.5 && h.plugSeenBad() {
			h.finish(p, "E-03", "during_glow")
		}
		if p.since > preglow {
			p.to(feeding)
			p.base = h.sensed
		}
		return drive{awake: true, speed: startingSpeed, glow: true}
	case feeding:
		return h.feed(p)
	case purging:
		if p.since > purgeTime {
			p.to(glowing)
			p.tries++
		}
		return drive{awake: true, speed: 0.9}
	case settling:
		level := 0.4 + (p.level-0.4)*min(1, p.since/settleTime)
		if p.since > settleTime {
			p.to(running)
			p.lightedSeen = rec.now
		}
		return drive{awake: true, speed: speedAt(level), rate: h.rateAt(level), glow: p.since < 10}
	case running:
		p.level += Step / 20 * (h.wanted() - p.level)
		return drive{awake: true, speed: speedAt(p.level), rate: h.rateAt(p.level)}
	}
	return drive{}
}

// speedAt and rateAt are fan speed and pump strokes for a demand from 0 to 1.
func speedAt(level float64) float64 { return 0.22 + 0.78*level }

func (h *Heater) rateAt(level float64) float64 {
	rate := level * h.rated / (h.b.counted * 1e-9 * 830)
	if h.b.settings == "rate" {
		rate *= 0.45
	}
	return rate
}

// wanted is the demand for the room: full heat until it is near its target.
func (h *Heater) wanted() float64 {
	target := 21.0
	if h.b.settings == "target_low" || h.imagined == "satisfied" {
		target = max(4, h.in.Ambient-1)
	}
	level := max(0.25, min(1, (target-(h.room-kelvin+h.b.roomBias))/4))
	if h.sensed > hotLimit-25 { // near its limit it draws back first
		level = min(level, 0.45)
	}
	return level
}

// check is what happens at power-on.
func (h *Heater) check(p *panel) drive {
	b := &h.b
	if p.since < 2 {
		return drive{awake: true}
	}
	switch {
	case h.b.settings == "timer":
		h.finish(p, "none", "at_once")
	case b.sensorOpen || b.sensorShort || h.sensed > 300 || h.sensed < -60:
		h.finish(p, "E-09", "at_once")
	case b.locked:
		h.finish(p, "other", "at_once")
	case h.sensed > hotLimit:
		h.record.Soak = true
		h.finish(p, "E-05", "at_once")
	case h.sensed > hotStart:
		h.record.Soak = true
		p.to(cooling)
	case p.since > 4:
		p.to(spinning)
	}
	return drive{awake: true}
}

// circuits tests the pump's circuit.
func (h *Heater) circuits(p *panel) bool {
	b := &h.b
	bad := b.unplugged || b.coilOpen || b.coil < 0.5*b.nominalCoil || b.boardPump || b.stuck && b.seesPump
	if bad {
		h.finish(p, "E-04", "at_once")
	}
	return bad
}

// plugSeenBad compares the plug's current with what its voltage should bring.
func (h *Heater) plugSeenBad() bool {
	b := &h.b
	if b.missesGlow {
		return false
	}
	if b.plugOpen || b.plugShort || b.boardPlug {
		return true
	}
	r := h.volts / max(1e-6, h.plugAmps)
	return r > 2.2*1.2*h.in.Nominal*h.in.Nominal/144 || r < 0.3*b.plugCold
}

// feed gives fuel and looks for a flame.
func (h *Heater) feed(p *panel) drive {
	if h.sensed > p.base+flameRise && !h.b.flameBlind {
		p.to(settling)
		p.peak, p.level = h.sensed, h.wanted()
		return drive{awake: true, speed: 0.5, rate: h.rateAt(0.4), glow: true}
	}
	if p.since > flameWindow {
		if p.tries >= 2 {
			h.finish(p, "E-10", "no_flame")
		} else {
			p.to(purging)
		}
	}
	level := 0.24 + 0.12*min(1, p.since/25)
	speed := startingSpeed + 0.1*min(1, p.since/40)
	return drive{awake: true, speed: speed, rate: h.rateAt(level), glow: true}
}

// guards watches what may end the attempt at any time.
func (h *Heater) guards(p *panel) bool {
	b, rec := &h.b, &h.record
	scale := b.setFor / 12
	switch b.link {
	case linkLost:
		if rec.now > b.linkAt+4 {
			h.finish(p, "E-07", h.when(p))
			return true
		}
	case linkFlaky:
		if rec.now > b.linkAt && rec.now < b.linkAt+10 {
			h.finish(p, "E-07", h.when(p))
			return true
		}
	}
	if b.boardDead && p.since > 3 {
		h.finish(p, "E-07", "at_once")
		return true
	}
	if rec.now > 1 {
		if h.volts < 0.5*h.in.Nominal/12 { // gone
			rec.Blank = true
			h.finish(p, "blank_display", h.when(p))
			return true
		}
		if h.volts < resetVolt*h.in.Nominal/12 && h.reset(p) {
			return true
		}
	}
	p.under = held(p.under, h.volts < underVolt*scale)
	p.overV = held(p.overV, h.volts > overVolt*scale)
	wants := p.phase >= spinning && p.since > 4
	demanded := p.asked
	p.slow = held(p.slow, wants && demanded > 0 && math.Abs(h.measured-demanded) > 0.3*demanded)
	code := ""
	switch {
	case p.under > underDelay || p.phase == checking && p.since > 1.5 && h.volts < underVolt*scale*0.97:
		code = "E-01"
	case p.overV > overDelay || p.phase == checking && p.since > 1.5 && h.volts > overVolt*scale*1.03:
		code = "E-02"
	case p.slow > speedDelay:
		code = "E-06"
	case p.phase > cooling && h.sensed > hotLimit:
		code = "E-05"
	case p.phase >= settling && h.flameGone(p):
		code = "E-08"
	}
	if code != "" {
		h.finish(p, code, h.when(p))
	}
	return code != ""
}

func held(since float64, now bool) float64 {
	if now {
		return since + Step
	}
	return 0
}

// reset is a brown-out: the panel starts anew and remembers nothing.
func (h *Heater) reset(p *panel) bool {
	h.record.Resets++
	if h.record.Resets > 3 {
		h.finish(p, "none", "during_glow")
		return true
	}
	*p = panel{}
	h.duty = 0
	return false
}

// flameGone is what the sensor says of the flame.
func (h *Heater) flameGone(p *panel) bool {
	p.peak += Step / 240 * (h.sensed - p.peak)
	p.peak = max(p.peak, h.sensed)
	return h.sensed < p.base+0.5*flameRise || h.sensed < p.peak-55
}

// when names the phase as an owner would.
func (h *Heater) when(p *panel) string {
	switch p.phase {
	case checking, cooling, spinning:
		if p.tries == 0 {
			return "at_once"
		}
		return "no_flame"
	case glowing:
		return "during_glow"
	case feeding, purging:
		return "no_flame"
	}
	if h.record.now-p.lightedSeen > 300 && p.lightedSeen > 0 {
		return "after_running"
	}
	return "after_lighting"
}

// coolDown is what follows the end: the fan runs on, unless power is cut.
func (h *Heater) coolDown(p *panel) {
	rec := &h.record
	rec.ended = true
	h.count()
	rec.MostShell = max(rec.MostShell, h.shell-kelvin)
	d := drive{awake: true, speed: 0.8}
	for t := 0.0; t < mostCooling; t += Step {
		if t > leastCooling && h.sensed < coolTo || rec.Lit == 0 && t > purgeTime {
			break
		}
		if h.b.cut && rec.Lit > 0 || h.volts < resetVolt*h.in.Nominal/12 && t > 2 {
			d.vacant = true
		}
		h.step(d)
		if h.speed > 0.1 {
			rec.After += Step
			rec.MostOutlet = max(rec.MostOutlet, h.outlet-kelvin)
		}
		rec.MostShell = max(rec.MostShell, h.shell-kelvin)
	}
	if rec.Code == "E-10" && h.failed >= lockAfter {
		h.b.locked = true
	}
	if h.b.cut && rec.Lit > 0 {
		h.b.coke = min(0.9, h.b.coke+0.1)
	}
}

// note keeps what instruments would show.
func (h *Heater) note(p *panel, d drive) {
	rec := &h.record
	if rec.now > 1 {
		rec.LeastVolts = min(rec.LeastVolts, h.volts)
	}
	rec.PeakAmps = max(rec.PeakAmps, h.amps)
	first := func(at *float64, now bool) {
		if now && *at == 0 {
			*at = rec.now
		}
	}
	first(&rec.Turns, h.speed > 0.1)
	first(&rec.Glows, h.plugAmps > 1)
	first(&rec.Ticks, d.rate > 0)
	if d.glow && p.phase == glowing && (p.since > 15 || rec.GlowVolts == 0) {
		rec.GlowVolts, rec.GlowBattery, rec.GlowAmps = h.volts, h.batteryVolts, h.amps
	}
	if d.glow && p.tries == 1 {
		rec.Glow += Step
	}
	if h.speed > 0.1 {
		rec.MostOutlet = max(rec.MostOutlet, h.outlet-kelvin)
	}
	rec.Strokes += d.rate * Step
	if h.exhaust > h.in.Ambient+kelvin+60 {
		rec.Warmed = true
	}
	if p.phase == spinning && p.since <= 6 { // still coming up to speed
		rec.meanSpeed = h.speed
	}
	if p.phase >= spinning && p.since > 3 {
		k := Step / 5
		dv := h.speed - rec.meanSpeed
		rec.meanSpeed += k * dv
		if p.since > 10 {
			rec.Jerks = max(rec.Jerks, math.Abs(dv))
		}
		rec.Speed, rec.Flow = rec.meanSpeed, h.warmShare()*rec.meanSpeed
	}
	if p.phase == running {
		rec.Heat += Step / 30 * (h.warmHeat - rec.Heat)
		rec.Outlet, rec.Level = h.outlet-kelvin, p.level
	}
}
