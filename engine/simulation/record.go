package simulation

// Record is what one attempt to run the heater was like, as instruments would see it. Times are seconds from its start.
type Record struct {
	Code string // as the panel shows it at the end; none or blank_display too
	// in which it ended: at_once, during_glow, no_flame, after_lighting, after_running, on_switching_off, keeps_running
	Phase string
	Ended float64
	Lit   float64 // when the flame first stood; 0 if never
	Ready float64 // when the panel took the start for done; 0 if never
	Glow  float64 // seconds that the plug was on, in the first try
	// When the fan first turned, the plug first had current and the pump first ticked; 0 if never.
	Turns, Glows, Ticks float64
	Tries               int
	After               float64 // seconds that the fan ran on after the end

	Lost, Resets                  int
	Bang, Blank, Unheard          bool // Unheard: the remote's call never came
	Soak                          bool // the sensor read hot before anything began
	LeastVolts, GlowBattery       float64
	GlowVolts, GlowAmps, PeakAmps float64
	Strokes                       float64
	// kg of unburnt vapour unlit; kg of fuel short of air; kg burnt off a standing film
	White, Black, Blue           float64
	WhiteFirst, BlackFirst, Late float64 // the same in the first two minutes; after the end
	Heat, Outlet, Level          float64 // W and °C at the end of a run, demand
	MostOutlet                   float64 // °C, the warmest air at the outlet while the fan turned
	Flow, Speed, Jerks           float64 // part of the free flow while running; fan; swings of the speed
	MostShell, LeastLambda       float64 // °C; air ratio while lit
	Pulses                       int     // swings of the air ratio, lean and rich counted each
	Warmed                       bool    // exhaust
	fuelOut, gasOut              float64
	now, meanSpeed, quick, calm  float64
	ended                        bool
	litSeconds                   float64
	swing                        int // which way the air ratio last swung
}

// audible is the part by which the air ratio must swing about its mean to be heard in the flame's note (judgement, no
// source).
const audible = 0.12

func (rec *Record) smoke(h *Heater, burnt, unburnt float64) {
	switch {
	case rec.ended:
		rec.Late += unburnt * Step
	case !h.lit:
		rec.White += unburnt * Step
		if rec.now < 150 {
			rec.WhiteFirst += unburnt * Step
		}
	}
	if h.lit && !rec.ended {
		rec.litSeconds += Step
		if h.lambda < sooting {
			rec.Black += burnt * Step
			if rec.now < rec.Lit+120 {
				rec.BlackFirst += burnt * Step
			}
		}
		if h.film > 2e-3 {
			rec.Blue += burnt * Step
		}
		if rec.LeastLambda == 0 || h.lambda < rec.LeastLambda && rec.litSeconds > 60 {
			rec.LeastLambda = h.lambda
		}
		if rec.quick == 0 {
			rec.quick, rec.calm = h.lambda, h.lambda
		}
		rec.quick += Step / 4 * (min(h.lambda, 20) - rec.quick)
		rec.calm += Step / 40 * (rec.quick - rec.calm)
		// A flame that grows with the fan, or dies down once, swings no more than one way.
		swing := rec.swing
		switch d := rec.quick / rec.calm; {
		case d > 1+audible:
			swing = 1
		case d < 1/(1+audible):
			swing = -1
		}
		if rec.litSeconds > 60 && swing != rec.swing {
			rec.Pulses++
		}
		rec.swing = swing
	}
}

func (rec *Record) lighting(h *Heater) {
	if rec.Lit == 0 {
		rec.Lit = rec.now
	}
	if h.film > 2.5e-3 {
		rec.Bang = true
	}
}

func (rec *Record) losing() { rec.Lost++ }
