package physics_test

import (
	"fmt"
	"log"

	"lightoff/engine/physics"
)

func ExampleVoltageWhileGlowing() {
	g, err := physics.VoltageWhileGlowing(physics.Supply{
		OpenCircuit: 12.4,
		Internal:    8 * physics.Milliohm,
		Runs: physics.OutAndBack(physics.Conductor{Construction: physics.Class5, Area: 1.5 * physics.SquareMillimetre},
			5),
		Joints:      []physics.Joint{{Name: "fuse holder", Side: physics.Positive, Resistance: 5 * physics.Milliohm}},
		Temperature: 20,
		Plug:        1.05,
		Running:     1.5,
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("battery %.2f V, heater %.2f V, %.1f A\n", g.AtBattery, g.AtHeater, g.Current)
	for _, d := range g.Drops {
		fmt.Printf("%s: %.2f V\n", d.Name, d.Drop)
	}
	for _, s := range g.Working {
		if s.Quantity == "voltage at the heater" {
			fmt.Println(s)
		}
	}
	// Output:
	// battery 12.31 V, heater 10.69 V, 11.7 A
	// positive cable: 0.78 V
	// negative cable: 0.78 V
	// fuse holder: 0.06 V
	// voltage at the heater: (U0 − R·Ir)/(1 + R/Rp) = (12.4 − 0.146 × 1.5) / (1 + 0.146 / 1.05) = 10.694 V
}

func ExampleSmallestCable() {
	c, err := physics.SmallestCable(physics.Feed{Length: 5, Load: 13, Nominal: 12, Drop: 0.05,
		Construction: physics.Class5, Temperature: 30, Ambient: 25})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%g mm², %.2f V lost, fuse %g A, carries %g A; the next smaller size fails for: %s\n",
		c.Area/physics.SquareMillimetre, c.Drop, c.Fuse, c.Ampacity, c.Because)
	// Output:
	// 6 mm², 0.45 V lost, fuse 20 A, carries 45 A; the next smaller size fails for: volt drop
}

func ExampleStateOfCharge() {
	s, err := physics.StateOfCharge(physics.AGM, 12, 12.5, 10)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.0f %%, by other charts %.0f to %.0f %%\n", 100*s.Value, 100*s.Low, 100*s.High)
	_, err = physics.StateOfCharge(physics.AGM, 12, 14.4, 10)
	fmt.Println(err)
	// Output:
	// 68 %, by other charts 56 to 85 %
	// rest_voltage is 14.4 V, but must lie between 10.5 and 13.4 V
}

func ExamplePrime() {
	p, err := physics.Prime(physics.Line{Bore: 2 * physics.Millimetre, Length: 5, Dose: 22 * physics.Microlitre, Rate: 6})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%d strokes, %.0f s\n", p.Strokes, p.Time)
	for _, s := range p.Working {
		fmt.Println(s)
	}
	// Output:
	// 714 strokes, 119 s
	// volume of the line: π/4·d²·L = 3.14159265 / 4 × 2 ^ 2 × 5 = 15.708 mL
	// strokes: V/dose, rounded up = ceil(15.708 × 1000 / 22) = 714
	// time: strokes/rate = 714 / 6 = 119 s
}
