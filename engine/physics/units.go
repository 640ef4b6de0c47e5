package physics

// The units of this package. A value of each type is in the SI unit of its name; a Celsius is a temperature, never a
// difference of two, and a Share is a part of one.
type (
	Volt                  float64
	Ampere                float64
	Ohm                   float64
	OhmMetre              float64
	OhmPerMetre           float64
	Watt                  float64
	Joule                 float64
	JoulePerKilogram      float64
	Coulomb               float64
	Celsius               float64
	PerKelvin             float64
	Metre                 float64
	SquareMetre           float64
	CubicMetre            float64
	CubicMetrePerSecond   float64
	MetrePerSecond        float64
	Second                float64
	Hertz                 float64
	Pascal                float64
	PascalSecond          float64
	Kilogram              float64
	KilogramPerSecond     float64
	KilogramPerCubicMetre float64
	Share                 float64
)

// Units of daily use, to be multiplied with: 1.5 * SquareMillimetre.
const (
	Millimetre       Metre            = 1e-3
	SquareMillimetre SquareMetre      = 1e-6
	Microlitre       CubicMetre       = 1e-9
	Millilitre       CubicMetre       = 1e-6
	Litre            CubicMetre       = 1e-3
	Minute           Second           = 60
	Hour             Second           = 3600
	Year             Second           = 365.25 * 24 * 3600
	AmpereHour       Coulomb          = 3600
	WattHour         Joule            = 3600
	Milliohm         Ohm              = 1e-3
	Megajoule        Joule            = 1e6
	MegajoulePerKilo JoulePerKilogram = 1e6
)

// kelvin is the thermodynamic temperature.
func (t Celsius) kelvin() float64 { return float64(t) + 273.15 }
