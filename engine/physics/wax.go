package physics

import "math"

// Grade is a grade of fuel by its behaviour in the cold.
type Grade int

// The grades. EN 590 has A to F for temperate and 0 to 4 for arctic climates; which is sold when, each country fixes.
const (
	GradeA Grade = iota
	GradeB
	GradeC
	GradeD
	GradeE
	GradeF
	Arctic0
	Arctic1
	Arctic2
	Arctic3
	Arctic4
	GradeHeatingOil
	GradeParaffinicWinter
	GradeBiodiesel
	GradeKerosene
	GradeGasOilSummer
	GradeGasOilWinter
)

// gradeRow is the highest cold filter plugging point that the grade allows, in °C.
type gradeRow struct {
	name   string
	limit  Celsius
	source string
}

var grades = []gradeRow{
	GradeA:                {"EN 590 grade A", 5, "EN 590, table 2"},
	GradeB:                {"EN 590 grade B", 0, "EN 590, table 2"},
	GradeC:                {"EN 590 grade C", -5, "EN 590, table 2"},
	GradeD:                {"EN 590 grade D", -10, "EN 590, table 2"},
	GradeE:                {"EN 590 grade E", -15, "EN 590, table 2"},
	GradeF:                {"EN 590 grade F", -20, "EN 590, table 2"},
	Arctic0:               {"EN 590 arctic class 0", -20, "EN 590, table 3"},
	Arctic1:               {"EN 590 arctic class 1", -26, "EN 590, table 3"},
	Arctic2:               {"EN 590 arctic class 2", -32, "EN 590, table 3"},
	Arctic3:               {"EN 590 arctic class 3", -38, "EN 590, table 3"},
	Arctic4:               {"EN 590 arctic class 4", -44, "EN 590, table 3"},
	GradeHeatingOil:       {"heating oil", -4, "BS 2869 class D in summer, from memory"},
	GradeParaffinicWinter: {"paraffinic diesel for winter", -20, "EN 15940 with the classes of EN 590, from memory"},
	GradeBiodiesel:        {"biodiesel of rapeseed", -10, "EN 14214 grade D, from memory"},
	GradeKerosene: {"kerosene", -40,
		"freezing point of Jet A, ASTM D1655, from memory; kerosene has no plugging point of its own"},
	GradeGasOilSummer: {"red diesel in summer", -4, "BS 2869 class A2 in summer, from memory"},
	GradeGasOilWinter: {"red diesel in winter", -12, "BS 2869 class A2 in winter, from memory"},
}

var gradeNames = func() (names []string) {
	for _, g := range grades {
		names = append(names, g.name)
	}
	return names
}()

// Grades lists them all.
func Grades() []Grade {
	all := make([]Grade, len(grades))
	for i := range all {
		all[i] = Grade(i)
	}
	return all
}

// String names the grade.
func (g Grade) String() string { return name(gradeNames, int(g)) }

// PluggingPoint is the highest cold filter plugging point that the grade allows, in °C, and where that is written. An
// unknown grade gives *RangeError. Source: EN 590 tables 2 and 3; the other grades from memory.
func (g Grade) PluggingPoint() (Celsius, string, error) {
	if err := within(one("fuel_grade", gradeNames, int(g))); err != nil {
		return 0, "", err
	}
	return grades[g].limit, grades[g].source, nil
}

// How a fuel as sold lies against its limit. EN 116 (2015), 13.3: two laboratories differ by more than R = 3.0 - 0.060
// X once in twenty times, hence a standard deviation of R/2.77. Refiners keep below the limit, on average by about 2 K,
// and lots, filters and the lag of the fuel behind the air spread by about 3 K more (judgement, no source).
const (
	refinersMargin  = 2
	serviceSpread   = 3
	reproducibility = 2.77 // 1.96 √2
)

// WaxingChance is the chance, 0 to 1, that wax stops the fuel at an ambient temperature in which it has stood for
// hours, for a fuel whose limit of the cold filter plugging point is given: the normal distribution of the temperature
// at which a lot stops, centred 2 K below the limit. Limit -51 to 15 °C, ambient -60 to 60 °C, else *RangeError.
// Source: spread of the test, EN 116 (2015), 13.3; margin and spread in service are judgement, no source.
func WaxingChance(limit, ambient Celsius) (Figure[Share], error) {
	if err := within(in("plugging_point", limit, 1, -51, 15, "°C"),
		in("ambient_temperature", ambient, 1, -60, 60, "°C")); err != nil {
		return Figure[Share]{}, err
	}
	var w Working
	test := (3.0 - 0.060*float64(limit)) / reproducibility
	w.step("spread of the test", "(3.0 − 0.060·X)/2.77", test, "K", "EN 116 (2015), 13.3", "(3 − 0.06 × #) / 2.77",
		float64(limit))
	spread := math.Hypot(test, serviceSpread)
	w.step("spread", "√(test² + 3²)", spread, "K", "3 K in service: judgement, no source", "sqrt(# ^ 2 + 3 ^ 2)", test)
	z := (float64(limit) - refinersMargin - float64(ambient)) / spread
	w.step("how far below", "(limit − 2 − ambient)/spread", z, "", "margin of 2 K: judgement, no source",
		"(# − 2 − #) / #", float64(limit), float64(ambient), spread)
	p := math.Erfc(-z/math.Sqrt2) / 2
	w.step("chance of waxing", "Φ(z)", p, "", "normal distribution", "Φ(#)", z)
	return Figure[Share]{Share(p), w}, nil
}
