package physics

import "math"

// The standard atmosphere: ISO 2533:1975, ICAO Doc 7488. Gravity and gas constant from memory.
const (
	seaTemperature = 288.15 // K
	seaPressure    = 101325 // Pa
	lapse          = 0.0065 // K/m
	gravity        = 9.80665
	airConstant    = 287.05287 // J/(kg K)
	earthRadius    = 6356766.0 // m, for geopotential altitude
	iso2533        = "ISO 2533:1975"
)

// Atmosphere is the air of the standard atmosphere.
type Atmosphere struct {
	Temperature Celsius
	Pressure    Pascal
	Density     KilogramPerCubicMetre
	Working     Working
}

func altitudeBound(h Metre) bound { return in("altitude", h, 1, -500, 9000, "m") }

// StandardAtmosphere is the air at an altitude as maps give it, -500 to 9000 m, else *RangeError. The weather moves the
// pressure by some three percent about it.
// Source: ISO 2533:1975, the layer with 6.5 K a kilometre, by geopotential altitude.
func StandardAtmosphere(altitude Metre) (Atmosphere, error) {
	if err := within(altitudeBound(altitude)); err != nil {
		return Atmosphere{}, err
	}
	var w Working
	z := float64(altitude)
	h := earthRadius * z / (earthRadius + z)
	w.step("geopotential altitude", "r·z/(r + z)", h, "m", iso2533, "6356766 × # / (6356766 + #)", z, z)
	t := seaTemperature - lapse*h
	w.step("temperature", "288.15 − 0.0065·h", t, "K", iso2533, "288.15 − 0.0065 × #", h)
	p := seaPressure * math.Pow(t/seaTemperature, gravity/(lapse*airConstant))
	w.step("pressure", "p0·(T/T0)^(g/(L·R))", p, "Pa", iso2533,
		"101325 × (# / 288.15) ^ (9.80665 / (0.0065 × 287.05287))", t)
	rho := p / (airConstant * t)
	w.step("density", "p/(R·T)", rho, "kg/m³", "ideal gas", "# / (287.05287 × #)", p, t)
	return Atmosphere{Celsius(t - 273.15), Pascal(p), KilogramPerCubicMetre(rho), w}, nil
}

func pressureBound(p Pascal) bound { return in("air_pressure", p, 100, 200, 1200, "hPa") }

// AirDensity is that of dry air, in kg/m³, at 200 to 1200 hPa and -80 to 400 °C, else *RangeError. Damp air of a warm
// day is about one percent lighter. Source: ideal gas, R = 287.05287 J/(kg K).
func AirDensity(p Pascal, t Celsius) (KilogramPerCubicMetre, error) {
	if err := within(pressureBound(p), in("air_temperature", t, 1, -80, 400, "°C")); err != nil {
		return 0, err
	}
	return airDensity(p, t), nil
}

func airDensity(p Pascal, t Celsius) KilogramPerCubicMetre {
	return KilogramPerCubicMetre(float64(p) / (airConstant * t.kelvin()))
}

// AirViscosity is the dynamic viscosity of air, in Pa s, at -80 to 400 °C, else *RangeError.
// Source: Sutherland's law, 1.716e-5 Pa s at 273.15 K and 110.4 K, from memory (White, Viscous Fluid Flow).
func AirViscosity(t Celsius) (PascalSecond, error) {
	if err := within(in("air_temperature", t, 1, -80, 400, "°C")); err != nil {
		return 0, err
	}
	k := t.kelvin()
	return PascalSecond(1.716e-5 * math.Pow(k/273.15, 1.5) * (273.15 + 110.4) / (k + 110.4)), nil
}

// Mixture is what thin air does to a burner that was set at sea level.
type Mixture struct {
	Density   KilogramPerCubicMetre
	AirShare  Share   // mass of air over that at sea level and 15 °C
	AirRatio  float64 // λ: air over the air that the fuel needs; below 1 it smokes
	DoseShare Share   // dose over the set one that would bring λ back
	Working   Working
}

// MixtureAtAltitude is the mixture at an altitude of -500 to 9000 m in air of -60 to 60 °C, for a burner whose fan
// moves the same volume and whose pump the same fuel as at sea level and 15 °C, where its air ratio was 0.5 to 5; else
// *RangeError. Source: pressure of the standard atmosphere, ISO 2533:1975, and ideal gas.
func MixtureAtAltitude(altitude Metre, ambient Celsius, airRatio float64) (Mixture, error) {
	err := within(altitudeBound(altitude), in("ambient_temperature", ambient, 1, -60, 60, "°C"),
		bound{"air_ratio", airRatio, 0.5, 5, ""})
	if err != nil {
		return Mixture{}, err
	}
	a, err := StandardAtmosphere(altitude)
	if err != nil {
		return Mixture{}, err
	}
	w := a.Working[:len(a.Working)-1] // its density is at another temperature
	rho := float64(airDensity(a.Pressure, ambient))
	w.step("density", "p/(R·T)", rho, "kg/m³", "ideal gas", "# / (287.05287 × (# + 273.15))", float64(a.Pressure),
		float64(ambient))
	part := rho / float64(airDensity(seaPressure, 15))
	w.step("air over that at sea level", "ρ/ρ0", part, "", "conservation of mass",
		"# / (101325 / (287.05287 × 288.15))", rho)
	w.step("air ratio", "λ0·ρ/ρ0", airRatio*part, "", "definition of the air ratio", "# × #", airRatio, part)
	return Mixture{KilogramPerCubicMetre(rho), Share(part), airRatio * part, Share(part), w}, nil
}

// AirForFuel is the mass of air, in kg, that burns a kilogram of a hydrocarbon just completely, by its atoms of
// hydrogen for one of carbon: 0 to 4, else *RangeError. Diesel has about 1.8. Source: atomic weights of IUPAC; 20.946 %
// oxygen.
func AirForFuel(hydrogenPerCarbon float64) (float64, error) {
	if err := within(bound{"hydrogen_per_carbon", hydrogenPerCarbon, 0, 4, ""}); err != nil {
		return 0, err
	}
	const carbon, hydrogen, air, oxygenPart = 12.011, 1.008, 28.9647, 0.20946
	return (1 + hydrogenPerCarbon/4) * air / oxygenPart / (carbon + hydrogen*hydrogenPerCarbon), nil
}
