package simulation

// Step is the time between two states of the heater, in s: small beside its shortest lag of interest, the plug's.
const Step = 0.25

// Physical constants and those of materials, in SI units unless named.
const (
	kelvin       = 273.15
	gravity      = 9.80665 // m/s², standard
	heatOfAir    = 1005.0  // J/(kg K), dry air at constant pressure near 20 °C; any handbook
	heatOfGas    = 1100.0  // J/(kg K), lean exhaust gas at some 500 °C, from memory
	heatOfFuel   = 2000.0  // J/(kg K), liquid diesel, from memory
	vaporisation = 270e3   // J/kg, diesel at its boiling point, from memory
	boiling      = 530.0   // K, middle of diesel's distillation, some 257 °C, from memory
	// K, ΔHv/R of a hydrocarbon of that boiling point, 44 kJ/mol: CRC Handbook for dodecane, from memory
	clausius     = 5300.0
	stefan       = 5.6704e-8 // W/(m² K⁴)
	airForDiesel = 14.5      // kg of air for a kg of diesel; physics.AirForFuel(1.8)
)

// Figures of small heaters. All of them are common practice, no source, unless a line says more.
const (
	airRatio       = 1.8    // λ at the rated fuel rate, at sea level
	warmAirPerWatt = 0.0104 // kg/s of warm air for a kW, that is some 31 m³/h
	uaPerWatt      = 12.0   // W/K of the exchanger's fins for a kW at full flow
	gasUnits       = 1.9    // transfer units on the gas side at the rated rate, which leaves some 83 % to the exchanger
	exchangerHeat  = 320.0  // J/K for a kW: an aluminium casting of 0.35 kg
	chamberHeat    = 50.0   // J/K for a kW: 0.1 kg of steel
	wickHeat       = 6.0    // J/K: some 13 g of steel gauze
	wickLoss       = 0.045  // W/K from gauze to combustion air at start speed
	plugToWick     = 0.45   // part of the plug's heat that reaches the gauze
	plugRated      = 1290.0 // K, glowing at its rated voltage
	igniting       = 1000.0 // K, hot surface that lights a vapour of diesel: far above its autoignition, from memory
	startingSpeed  = 0.42   // of full speed while glowing
	localRichness  = 4.0    // how much richer the mixture is at the plug than over the chamber
	leanLimit      = 0.55   // of the equivalence at the plug (lower flammability 0.6 % by volume, from memory)
	richLimit      = 3.6    // as the upper, 6 to 7 %, from memory
	pumpVacuum     = 40e3   // Pa, at which a metering pump's stroke no longer fills
	strokeTime     = 0.05   // s, in which it draws its dose
	sooting        = 1.3    // λ, below which a small pot burner soots
	purgePerStart  = 0.012  // g/s, unburnt vapour at the pipe's end that looks like thick white smoke
)

// stuckBore is the bore in mm up to which a long bubble in a tube does not rise by itself: ρ g r²/σ below 0.842
// (Bretherton 1961, Journal of Fluid Mechanics 10:166, from memory), for diesel of 830 kg/m³ and 0.028 N/m.
const stuckBore = 3.4

// What the panel goes by, common practice, no source. Volts are for 12 V and double for 24.
const (
	underVolt, underDelay = 10.4, 18.0
	overVolt, overDelay   = 16.0, 8.0
	resetVolt             = 7.5
	preglow               = 45.0
	flameWindow           = 100.0
	flameRise             = 22.0 // K, by which the sensor's reading must have risen for a flame
	purgeTime             = 45.0
	settleTime            = 110.0
	hotLimit              = 235.0 // °C
	hotStart              = 75.0  // °C, above which it cools before it starts
	coolTo                = 60.0  // °C
	leastCooling          = 150.0 // s
	mostCooling           = 420.0 // s
	speedDelay            = 6.0   // s
	lockAfter             = 4     // failed starts in a row
)
