package physics

import "math"

// Sensor is a temperature sensor of one of the kinds that heaters use.
type Sensor int

// The sensors: thermistors by their resistance at 25 °C, and platinum of 1000 Ω at 0 °C.
const (
	NTC10k Sensor = iota
	NTC50k
	NTC100k
	Pt1000
)

var sensorNames = []string{"NTC 10 kΩ", "NTC 50 kΩ", "NTC 100 kΩ", "Pt1000"}

// String names the sensor.
func (s Sensor) String() string { return name(sensorNames, int(s)) }

var thermistors = []Ohm{NTC10k: 10e3, NTC50k: 50e3, NTC100k: 100e3}

// The beta of a thermistor differs from make to make, and of one make with the temperatures between which it is taken.
// 3950 K is common; nearly all lie between these (common practice, no source).
const (
	UsualBeta = 3950
	LowBeta   = 3380
	HighBeta  = 4250
)

const (
	betaLaw  = "IEC 60539, beta equation"
	iec60751 = "IEC 60751:2008"
)

func betaBounds(r25 Ohm, beta float64) []bound {
	return []bound{in("r25", r25, 1, 100, 10e6, "Ω"), bound{"beta", beta, 2000, 6000, "K"}}
}

func sensorTemperature(t Celsius) bound { return in("temperature", t, 1, -50, 250, "°C") }

// ThermistorResistance is R = R25 exp(B (1/T - 1/298.15)), in Ω. R25 100 Ω to 10 MΩ, beta 2000 to 6000 K, -50 to 250
// °C, else *RangeError. A real part departs from it the more the farther from the temperatures that its beta stands
// for, 25 and 85 °C as a rule. Source: IEC 60539, beta equation.
func ThermistorResistance(r25 Ohm, beta float64, t Celsius) (Ohm, error) {
	if err := within(append(betaBounds(r25, beta), sensorTemperature(t))...); err != nil {
		return 0, err
	}
	return thermistor(r25, beta, t), nil
}

func thermistor(r25 Ohm, beta float64, t Celsius) Ohm {
	return r25 * Ohm(math.Exp(beta*(1/t.kelvin()-1/298.15)))
}

// ThermistorTemperature is the temperature, in °C, at which a thermistor has resistance r: the inverse of
// ThermistorResistance. A result outside -50 to 250 °C is a *RangeError.
func ThermistorTemperature(r25 Ohm, beta float64, r Ohm) (Celsius, error) {
	if err := within(append(betaBounds(r25, beta), in("sensor_resistance", r, 1, 1e-3, 1e9, "Ω"))...); err != nil {
		return 0, err
	}
	t := Celsius(1/(1/298.15+math.Log(float64(r/r25))/beta) - 273.15)
	if err := within(sensorTemperature(t)); err != nil {
		return 0, err
	}
	return t, nil
}

// Beta is the beta, in K, of a thermistor that was measured at two temperatures, -50 to 250 °C and at least 1 K apart;
// resistances 1 mΩ to 1 GΩ and a result of 2000 to 6000 K, else *RangeError. Source: IEC 60539.
func Beta(r1 Ohm, t1 Celsius, r2 Ohm, t2 Celsius) (float64, error) {
	err := within(in("sensor_resistance", r1, 1, 1e-3, 1e9, "Ω"), in("sensor_resistance", r2, 1, 1e-3, 1e9, "Ω"),
		sensorTemperature(t1), sensorTemperature(t2),
		bound{"temperature_difference", math.Abs(float64(t1 - t2)), 1, 300, "K"})
	if err != nil {
		return 0, err
	}
	beta := math.Log(float64(r1/r2)) / (1/t1.kelvin() - 1/t2.kelvin())
	return beta, within(bound{"beta", beta, 2000, 6000, "K"})
}

// The law of Callendar and van Dusen for platinum: R = R0 (1 + A t + B t² + C (t - 100) t³), the last term below 0
// °C.
const (
	platinumA = 3.9083e-3
	platinumB = -5.775e-7
	platinumC = -4.183e-12
)

func platinum(r0 Ohm, t Celsius) Ohm {
	x := float64(t)
	f := 1 + platinumA*x + platinumB*x*x
	if x < 0 {
		f += platinumC * (x - 100) * x * x * x
	}
	return r0 * Ohm(f)
}

// PlatinumResistance is that of a platinum sensor of r0 at 0 °C, in Ω. r0 10 to 10,000 Ω, -200 to 850 °C, else
// *RangeError. Source: IEC 60751:2008, Callendar-Van Dusen.
func PlatinumResistance(r0 Ohm, t Celsius) (Ohm, error) {
	if err := within(in("r0", r0, 1, 10, 10000, "Ω"), in("temperature", t, 1, -200, 850, "°C")); err != nil {
		return 0, err
	}
	return platinum(r0, t), nil
}

// PlatinumTemperature is the inverse of PlatinumResistance, by halving. A resistance that no temperature of -200 to 850
// °C gives is a *RangeError.
func PlatinumTemperature(r0, r Ohm) (Celsius, error) {
	if err := within(in("r0", r0, 1, 10, 10000, "Ω")); err != nil {
		return 0, err
	}
	if err := within(in("sensor_resistance", r, 1, float64(platinum(r0, -200)), float64(platinum(r0, 850)),
		"Ω")); err != nil {
		return 0, err
	}
	return Celsius(crossing(-200, 850, func(t float64) float64 { return float64(platinum(r0, Celsius(t)) - r) })), nil
}

// SensorResistance is what a sensor should measure at a temperature, in Ω: -50 to 250 °C, else *RangeError. For a
// thermistor the band is that of the betas in use, so that it is wide far from 25 °C; for platinum, of class B.
// Source: IEC 60539 with beta 3950 K (3380 to 4250 K), common practice, no source; IEC 60751:2008, class B ±(0.3 +
// 0.005 |t|) K.
func SensorResistance(s Sensor, t Celsius) (Band[Ohm], error) {
	if err := within(one("sensor_kind", sensorNames, int(s)), sensorTemperature(t)); err != nil {
		return Band[Ohm]{}, err
	}
	var w Working
	x := float64(t)
	if s == Pt1000 {
		slack := Celsius(0.3 + 0.005*math.Abs(x))
		w.step("tolerance of class B", "0.3 + 0.005·|t|", float64(slack), "K", iec60751, "0.3 + 0.005 × #", math.Abs(x))
		b := Band[Ohm]{platinum(1000, t), platinum(1000, t-slack), platinum(1000, t+slack), nil}
		with, values := "1000 × (1 + 0.0039083 × # − 5.775e-7 × # ^ 2)", []float64{x, x}
		if x < 0 {
			with, values = "1000 × (1 + 0.0039083 × # − 5.775e-7 × # ^ 2 − 4.183e-12 × (# − 100) × # ^ 3)",
				[]float64{x, x, x, x}
		}
		w.step("resistance", "R0·(1 + A·t + B·t² + C·(t − 100)·t³), the last term below 0 °C", float64(b.Value),
			"Ω", iec60751, with, values...)
		b.Working = w
		return b, nil
	}
	r25 := thermistors[s]
	one, other := thermistor(r25, LowBeta, t), thermistor(r25, HighBeta, t)
	law := func(quantity string, beta float64, r Ohm) {
		w.step(quantity, "R25·exp(B·(1/T − 1/298.15))", float64(r), "Ω", betaLaw,
			"# × exp(# × (1 / (# + 273.15) − 1 / 298.15))", float64(r25), beta, x)
	}
	law("resistance with the lowest beta", LowBeta, one)
	law("resistance with the highest beta", HighBeta, other)
	law("resistance with the usual beta", UsualBeta, thermistor(r25, UsualBeta, t))
	return Band[Ohm]{thermistor(r25, UsualBeta, t), min(one, other), max(one, other), w}, nil
}

// SensorTemperature is the temperature, in °C, that a sensor's resistance stands for, the inverse of SensorResistance,
// with the band that its unknown beta or its class leaves. A usual value outside -50 to 250 °C is a *RangeError; the
// band is cut there.
func SensorTemperature(s Sensor, r Ohm) (Band[Celsius], error) {
	if err := within(one("sensor_kind", sensorNames, int(s))); err != nil {
		return Band[Celsius]{}, err
	}
	least, most := Ohm(0), Ohm(0)
	if s == Pt1000 {
		least, most = platinum(1000, -50), platinum(1000, 250)
	} else {
		least, most = thermistor(thermistors[s], UsualBeta, 250), thermistor(thermistors[s], UsualBeta, -50)
	}
	if err := within(in("sensor_resistance", r, 1, float64(least), float64(most), "Ω")); err != nil {
		return Band[Celsius]{}, err
	}
	if s == Pt1000 {
		return platinumBand(r)
	}
	return thermistorBand(thermistors[s], r), nil
}

func platinumBand(r Ohm) (Band[Celsius], error) {
	t, err := PlatinumTemperature(1000, r)
	if err != nil {
		return Band[Celsius]{}, err
	}
	var w Working
	slack := Celsius(0.3 + 0.005*math.Abs(float64(t)))
	w.find("temperature", "where the law of IEC 60751 gives "+number(float64(r))+" Ω, by halving", float64(t), "°C",
		iec60751)
	w.step("tolerance of class B", "0.3 + 0.005·|t|", float64(slack), "K", iec60751, "0.3 + 0.005 × #",
		math.Abs(float64(t)))
	return Band[Celsius]{t, t - slack, t + slack, w}, nil
}

func thermistorBand(r25, r Ohm) Band[Celsius] {
	var w Working
	at := func(quantity string, beta float64) Celsius {
		t := 1/(1/298.15+math.Log(float64(r/r25))/beta) - 273.15
		w.step(quantity, "1/(1/298.15 + ln(R/R25)/B) − 273.15", t, "°C", betaLaw,
			"1 / (1 / 298.15 + ln(# / #) / #) − 273.15", float64(r), float64(r25), beta)
		return Celsius(max(-50, min(250, t)))
	}
	low, high := at("temperature with the lowest beta", LowBeta), at("temperature with the highest beta", HighBeta)
	usual := at("temperature with the usual beta", UsualBeta)
	return Band[Celsius]{usual, min(low, high), max(low, high), w}
}
