package physics

import "math"

// Chemistry is the kind of battery.
type Chemistry int

// The chemistries: lead-acid with liquid electrolyte, lead-acid with glass mat, lithium iron phosphate.
const (
	Flooded Chemistry = iota
	AGM
	Lithium
)

var chemistryNames = []string{"flooded lead-acid", "AGM lead-acid", "lithium iron phosphate"}

// String names the chemistry.
func (c Chemistry) String() string { return name(chemistryNames, int(c)) }

// restChart is rest voltage by state of charge for 12 V, in volts at 26.7 °C. The first is the one that is used; the
// others, which contradict it, make the band.
type restChart struct {
	charts    []curve
	source    string
	low, high float64 // V: beyond these it is not a rest voltage
}

var restCharts = []restChart{
	Flooded: {[]curve{
		{{0, 11.89}, {0.25, 12.06}, {0.5, 12.24}, {0.75, 12.45}, {1, 12.65}},
		{{0, 11.6}, {0.25, 12.0}, {0.5, 12.2}, {0.75, 12.4}, {1, 12.6}},
	}, "battery-industry table (BCI type), band from a rule of thumb", 10.5, 13.2},
	AGM: {[]curve{
		{{0, 11.8}, {0.25, 12.0}, {0.5, 12.3}, {0.75, 12.6}, {1, 12.8}},
		{{0.5, 12.1}, {1, 12.7}},
		{{0.35, 12.2}, {1, 13.2}},
	}, "common AGM chart, from memory, band from charts that contradict it", 10.5, 13.4},
	Lithium: {[]curve{
		{{0, 10}, {0.1, 12.05}, {0.2, 12.85}, {0.3, 13.0}, {0.4, 13.15}, {0.7, 13.25}, {0.9, 13.35}, {0.99, 13.5}, {1, 13.6}},
		{{0, 10}, {0.1, 12.0}, {0.2, 12.8}, {0.3, 13.0}, {0.4, 13.2}, {0.7, 13.3}, {0.9, 13.4}, {0.99, 13.6}},
		{{0, 10}, {0.09, 12.0}, {0.14, 12.5}, {0.17, 12.8}, {0.2, 12.9}, {0.3, 13.0}, {0.4, 13.1}, {0.7, 13.2}, {0.9, 13.3},
			{0.99, 13.4}, {1, 13.6}},
	}, "middle of two open charts, which make the band", 10, 14.6},
}

const (
	leadPerKelvin   = 6 * 0.0002 // V/K for six cells: rest voltage rises by about 0.2 mV/K a cell, from memory
	chartCelsius    = 26.7
	chargeFormula   = "chart at U·12 V/nominal − k·(t − 26.7)"
	voltsPerNominal = 12.0
)

// warming is what a 12 V battery of lead reads more than at the temperature of the chart.
func (c Chemistry) warming(t Celsius) float64 {
	if c == Lithium {
		return 0
	}
	return leadPerKelvin * (float64(t) - chartCelsius)
}

func batteryTemperature(t Celsius) bound { return in("battery_temperature", t, 1, -40, 60, "°C") }

func share(field string, s Share) bound { return in(field, s, 1, 0, 1, "") }

// RestVoltage is what a battery of the nominal voltage (12 or 24 V) reads hours after its last charge or load, in V, at
// a charge of 0 to 1 and -40 to 60 °C, else *RangeError. It is the inverse of StateOfCharge, which names the sources.
func RestVoltage(c Chemistry, nominalVoltage Volt, charge Share, t Celsius) (Volt, error) {
	if err := within(one("battery_chemistry", chemistryNames, int(c)), nominal(nominalVoltage), share("charge", charge),
		batteryTemperature(t)); err != nil {
		return 0, err
	}
	return Volt(restCharts[c].charts[0].at(float64(charge))+c.warming(t)) * nominalVoltage / voltsPerNominal, nil
}

// StateOfCharge is the charge, 0 to 1, of a battery that reads v at rest: hours after the last charge or load, heater
// and charger off. Published charts differ, so that it is a band, wide for lithium, where the voltage says little
// between a fifth and nine tenths. A voltage somewhat above the chart (surface charge) is full, one somewhat below is
// empty; outside 10.5 to 13.2 V (flooded), 10.5 to 13.4 V (AGM) or 10 to 14.6 V (lithium), doubled for 24 V, it is no
// rest voltage of a working battery: *RangeError, as outside -40 to 60 °C.
// Source: battery-industry table of flooded batteries at 26.7 °C; AGM chart from memory; open charts of lithium iron
// phosphate. Temperature: 0.2 mV/K a cell for lead, from memory, which is little; none published for lithium.
func StateOfCharge(c Chemistry, nominalVoltage, v Volt, t Celsius) (Band[Share], error) {
	if err := within(one("battery_chemistry", chemistryNames, int(c)), nominal(nominalVoltage),
		batteryTemperature(t)); err != nil {
		return Band[Share]{}, err
	}
	chart, scale := restCharts[c], float64(nominalVoltage)/voltsPerNominal
	if err := within(in("rest_voltage", v, 1, chart.low*scale, chart.high*scale, "V")); err != nil {
		return Band[Share]{}, err
	}
	var w Working
	u := float64(v)/scale - c.warming(t)
	if c == Lithium {
		w.step("rest voltage of 12 V", "U·12/nominal", u, "V", "proportion", "# × 12 / #", float64(v),
			float64(nominalVoltage))
	} else {
		w.step("rest voltage of 12 V at 26.7 °C", "U·12/nominal − 0.0012·(t − 26.7)", u, "V", memory,
			"# × 12 / # − 0.0012 × (# − 26.7)",
			float64(v), float64(nominalVoltage), float64(t))
	}
	b := Band[Share]{Low: 1}
	for i, ch := range chart.charts {
		if ch[0].x > 0 && u < ch[0].y {
			continue // a chart that begins higher
		}
		s := Share(ch.inverse().at(u))
		if i == 0 {
			b.Value = s
		}
		b.Low, b.High = min(b.Low, s), max(b.High, s)
	}
	w.find("charge, least by the charts", "the lowest of the charts", float64(b.Low), "", chart.source)
	w.find("charge, greatest by the charts", "the highest of the charts", float64(b.High), "", chart.source)
	w.find("charge", "chart of "+c.String(), float64(b.Value), "", chart.source)
	b.Working = w
	return b, nil
}

// Battery is what bears on its internal resistance and capacity. Nominal is 12 or 24 V, Capacity the rated one.
type Battery struct {
	Chemistry   Chemistry
	Nominal     Volt
	Capacity    Coulomb
	Age         Second
	Temperature Celsius
}

func (b Battery) bounds() []bound {
	return []bound{one("battery_chemistry", chemistryNames, int(b.Chemistry)), nominal(b.Nominal),
		in("battery_capacity", b.Capacity, AmpereHour, 2, 2000, "A h"),
		in("battery_age", b.Age, Year, 0, 30, "a"), batteryTemperature(b.Temperature)}
}

// internal is the resistance of a new, full, warm 12 V battery and how it changes. All from memory: no citable figure
// was found, save that IEEE 1188 takes 30 to 50 % above the first value for a sign of ageing (from memory too).
type internal struct {
	capacity         float64 // A h, for which the figures hold
	value, low, high float64 // mΩ
	cold             float64 // factor at -20 °C over 25 °C
	year             float64 // part added each year
	empty            float64 // part added when empty
}

var internals = []internal{
	Flooded: {80, 4.5, 3, 6, 2.5, 0.10, 1},
	AGM:     {90, 3.75, 2.5, 5, 2.5, 0.08, 1},
	Lithium: {100, 20, 10, 40, 3, 0.03, 0},
}

// InternalResistance is that of a healthy battery at a charge of 0 to 1, in Ω, with the band in which new ones lie.
// A worn battery, or one with a bad cell, may have ten times as much while it reads well at rest; that is measured with
// SourceResistance, not computed. Capacity 2 to 2000 A h, age 0 to 30 years, -40 to 60 °C, else *RangeError.
// Source: figures from memory, no citable number was found; the exponential law with temperature is an assumption.
func InternalResistance(b Battery, charge Share) (Band[Ohm], error) {
	if err := within(append(b.bounds(), share("charge", charge))...); err != nil {
		return Band[Ohm]{}, err
	}
	r, series := internals[b.Chemistry], float64(b.Nominal)/voltsPerNominal
	capacity, years := float64(b.Capacity/AmpereHour), float64(b.Age/Year)
	var w Working
	size := r.capacity / capacity * series
	w.step("factor for size", "C0/C·nominal/12", size, "", memory, "# / # × # / 12", r.capacity, capacity,
		float64(b.Nominal))
	cold := math.Pow(r.cold, (25-float64(b.Temperature))/45)
	w.step("factor for temperature", "k^((25 − t)/45)", cold, "", memory, "# ^ ((25 − #) / 45)", r.cold,
		float64(b.Temperature))
	old := 1 + r.year*years
	w.step("factor for age", "1 + a·years", old, "", memory, "1 + # × #", r.year, years)
	low := 1 + r.empty*(1-float64(charge))
	w.step("factor for charge", "1 + e·(1 − charge)", low, "", memory, "1 + # × (1 − #)", r.empty, float64(charge))
	all := size * cold * old * low * 1e-3
	value := r.value * all
	w.step("internal resistance", "r0·factors", value, "Ω", memory, "# / 1000 × # × # × # × #", r.value, size, cold,
		old, low)
	return Band[Ohm]{Ohm(value), Ohm(r.low * all), Ohm(r.high * all), w}, nil
}

// SourceResistance is what stands between a source and its terminals, in Ω, from the voltage at rest, the voltage
// under load and the load's current: a battery's internal resistance, or with the voltage at the heater that of the
// whole feed. Voltages 0 to 60 V, the loaded one not above the other, current 0.1 to 200 A, else *RangeError.
// Source: Ohm's law. Right after a charge the rest voltage is too high, and so is the result.
func SourceResistance(rest, loaded Volt, current Ampere) (Figure[Ohm], error) {
	err := within(in("rest_voltage", rest, 1, 0, 60, "V"),
		in("loaded_voltage", loaded, 1, 0, min(60, max(0, float64(rest))), "V"),
		in("current", current, 1, 0.1, 200, "A"))
	if err != nil {
		return Figure[Ohm]{}, err
	}
	r := float64(rest-loaded) / float64(current)
	var w Working
	w.step("resistance", "(U0 − U)/I", r, "Ω", ohmsLaw, "(# − #) / #", float64(rest), float64(loaded),
		float64(current))
	return Figure[Ohm]{Ohm(r), w}, nil
}

const loadTestSource = "load-test rule of the battery industry (BCI)"

// loadTest is volts by °C; the rule steps by 10 °F from 0 to 70 °F.
var loadTest = curve{{-17.78, 8.5}, {-12.22, 8.7}, {-6.67, 8.9}, {-1.11, 9.1}, {4.44, 9.3}, {10, 9.4}, {15.56, 9.5},
	{21.11, 9.6}}

// LoadTestLimit is the least voltage, in V, that a good 12 V lead-acid battery of at least three quarters charge holds
// after 15 s of a load of half its cold cranking current. Battery at -18 to 50 °C, else *RangeError; above 21 °C it
// stays the same. Source: load-test rule of the battery industry, as found in vehicle service data; between its steps a
// straight line.
func LoadTestLimit(t Celsius) (Figure[Volt], error) {
	if err := within(in("battery_temperature", t, 1, -18, 50, "°C")); err != nil {
		return Figure[Volt]{}, err
	}
	v := loadTest.at(float64(t))
	var w Working
	w.find("least voltage after 15 s at half the cold cranking current", "table at "+number(float64(t))+" °C", v, "V",
		loadTestSource)
	return Figure[Volt]{Volt(v), w}, nil
}

// LoadTestCurrent is the load of that test, in A: half the cold cranking current. Cranking current 20 to 3000 A, else
// *RangeError. Source: as LoadTestLimit.
func LoadTestCurrent(cranking Ampere) (Figure[Ampere], error) {
	if err := within(in("cold_cranking_current", cranking, 1, 20, 3000, "A")); err != nil {
		return Figure[Ampere]{}, err
	}
	half := float64(cranking) / 2
	var w Working
	w.step("load of the test", "Ic/2", half, "A", "load-test rule of the battery industry (BCI)", "# / 2",
		float64(cranking))
	return Figure[Ampere]{Ampere(half), w}, nil
}

var freezing = curve{{0, -9.4}, {0.25, -15}, {0.5, -26.1}, {0.75, -37.2}, {1, -59.5}}

// FreezingPoint is the temperature in °C at which the acid of a lead battery freezes, by its charge of 0 to 1, else
// *RangeError. A frozen battery must never be charged. Sources differ by up to 14 °C; this is the warmer, hence safer.
// Source: US Army TM 5-4210-230-14&P-1, table 2, by specific gravity, with the gravities of the rest-voltage table.
func FreezingPoint(charge Share) (Celsius, error) {
	if err := within(share("charge", charge)); err != nil {
		return 0, err
	}
	return Celsius(freezing.at(float64(charge))), nil
}

// capacityShares is capacity over that at 25 °C, by °C. Lead: supplier's table from 0 °C up; below, 6-hour capacity
// of US Army TM 10-6140-200-14 at -17.8 °C, and the cranking output of TM 5-4210-230-14&P-1 at -28.8 °C, which is
// less than a slow load would get. Lithium: from memory.
var capacityShares = []curve{
	Flooded: leadCapacity,
	AGM:     leadCapacity,
	Lithium: {{-20, 0.7}, {-10, 0.8}, {0, 0.9}, {10, 0.95}, {25, 1}, {50, 1}},
}

var leadCapacity = curve{{-28.8, 0.20}, {-17.8, 0.40}, {0, 0.84}, {5, 0.88}, {10, 0.90}, {15, 0.94}, {20, 0.99},
	{25, 1}, {30, 1.03}, {35, 1.04}, {40, 1.05}}

var capacitySources = []string{
	Flooded: "supplier's table from 0 °C; US Army TM 10-6140-200-14 and TM 5-4210-230-14&P-1 below",
	AGM:     "supplier's table from 0 °C; US Army TM 10-6140-200-14 and TM 5-4210-230-14&P-1 below",
	Lithium: memory,
}

// CapacityShare is the part of the rated capacity that a slow load (an hour and more) gets at a temperature: -28.8 to
// 40 °C for lead, -20 to 50 °C for lithium, else *RangeError. Lithium must not be charged below 0 °C.
// Source: supplier's table from 0 °C; US Army technical manuals below, on the safe side; lithium from memory.
func CapacityShare(c Chemistry, t Celsius) (Share, error) {
	if err := within(one("battery_chemistry", chemistryNames, int(c))); err != nil {
		return 0, err
	}
	shares := capacityShares[c]
	if err := within(in("battery_temperature", t, 1, shares[0].x, shares[len(shares)-1].x, "°C")); err != nil {
		return 0, err
	}
	return Share(shares.at(float64(t))), nil
}

// UsableShare is the part of the capacity that may be taken without shortening the battery's life: half for lead, eight
// tenths for lithium; common practice, no source. An unknown chemistry gives *RangeError.
func UsableShare(c Chemistry) (Share, error) {
	if err := within(one("battery_chemistry", chemistryNames, int(c))); err != nil {
		return 0, err
	}
	if c == Lithium {
		return 0.8, nil
	}
	return 0.5, nil
}

// Night is a time of running on the battery alone. Charge is at its beginning, Usable the part of the capacity that may
// be taken (see UsableShare), Running the mean current after the start, StartCurrent and StartTime those of one start.
type Night struct {
	Battery      Battery
	Charge       Share
	Usable       Share
	Running      Ampere
	Duration     Second
	Starts       int
	StartCurrent Ampere
	StartTime    Second
}

func (n Night) bounds() []bound {
	return append(n.Battery.bounds(), share("charge", n.Charge), share("usable", n.Usable),
		in("running_current", n.Running, 1, 0, 50, "A"),
		in("duration", n.Duration, Hour, 0, 200, "h"), bound{"starts", float64(n.Starts), 0, 200, ""},
		in("start_current", n.StartCurrent, 1, 0, 100, "A"), in("start_time", n.StartTime, 1, 0, 600, "s"))
}

// NightEnergy is what a night takes. Left may be negative, and is then what is missing. Lasts is how long the heater
// may run until the usable part is gone, its starts counted first, and infinite for a running current of zero.
type NightEnergy struct {
	Taken   Coulomb
	Energy  Joule // at the nominal voltage
	Left    Share // of the capacity at this temperature
	Enough  bool  // the usable part suffices
	Lasts   Second
	Working Working
}

// EnergyOfNight is the charge and energy that a heater takes from its battery, and what is left. Charge counts from the
// capacity at the battery's temperature; age is not counted, since nothing published says how much it takes. A current
// of 0 to 50 A, 0 to 200 h, 0 to 200 starts of 0 to 100 A and 0 to 600 s each, else *RangeError.
// Source: conservation of charge; capacity by temperature as CapacityShare.
func EnergyOfNight(n Night) (NightEnergy, error) {
	if err := within(n.bounds()...); err != nil {
		return NightEnergy{}, err
	}
	part, err := CapacityShare(n.Battery.Chemistry, n.Battery.Temperature)
	if err != nil {
		return NightEnergy{}, err
	}
	var w Working
	hours, rated := float64(n.Duration/Hour), float64(n.Battery.Capacity/AmpereHour)
	w.find("part of the capacity at this temperature",
		n.Battery.Chemistry.String()+" at "+number(float64(n.Battery.Temperature))+" °C", float64(part), "",
		capacitySources[n.Battery.Chemistry])
	capacity := rated * float64(part)
	w.step("capacity", "C·part", capacity, "A h", "proportion", "# × #", rated, float64(part))
	starts := float64(n.Starts) * float64(n.StartCurrent) * float64(n.StartTime/Hour)
	w.step("charge for the starts", "n·I·t", starts, "A h", "conservation of charge", "# × # × # / 3600",
		float64(n.Starts), float64(n.StartCurrent), float64(n.StartTime))
	taken := starts + float64(n.Running)*hours
	w.step("charge taken", "starts + I·t", taken, "A h", "conservation of charge", "# + # × #", starts,
		float64(n.Running), hours)
	w.step("energy taken", "charge·nominal voltage", taken*float64(n.Battery.Nominal), "W h",
		"energy is charge times voltage", "# × #", taken, float64(n.Battery.Nominal))
	left := float64(n.Charge) - taken/capacity
	w.step("charge left", "charge − taken/C", left, "", "conservation of charge", "# − # / #", float64(n.Charge),
		taken, capacity)
	spare := (float64(n.Charge)-1+float64(n.Usable))*capacity - starts
	lasts := math.Inf(1)
	if n.Running > 0 {
		lasts = max(0, spare) / float64(n.Running)
		w.step("lasts", "((charge − 1 + usable)·C − starts)/I, not below zero", lasts, "h", "conservation of charge",
			"max(0, ((# − 1 + #) × # − #) / #)", float64(n.Charge), float64(n.Usable), capacity, starts, float64(n.Running))
	}
	return NightEnergy{Coulomb(taken) * AmpereHour, Joule(taken*float64(n.Battery.Nominal)) * WattHour, Share(left),
		left >= 1-float64(n.Usable), Second(lasts) * Hour, w}, nil
}
