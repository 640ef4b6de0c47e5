package knowledge_test

import (
	"fmt"
	"os"

	"lightoff/engine/knowledge"
)

// A garden pump: three things that can be wrong, what each brings about, and how it is seen. The files are read in
// testdata/good.
func Example() {
	pump, err := knowledge.Load(os.DirFS("testdata/good"), nil)
	if err != nil {
		fmt.Println(err) // every problem of the files, each with file, line and column
		return
	}
	tell := func(what string, findings ...knowledge.Finding) {
		in := pump.NewInquiry()
		in.Enter(findings)
		p, err := in.Causes(nil)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(what)
		for i, c := range pump.Causes {
			fmt.Printf("  %-24s %3.0f %%\n", pump.Text("en").Causes[c.ID].Title, 100*p[i])
		}
	}
	tell("A complaint and nothing else:")
	tell("It hums roughly and takes 6.2 A:",
		knowledge.Finding{ID: "hum", State: "rough"},
		knowledge.Finding{ID: "motor_current", Number: 6.2, IsNumber: true})
	// Output:
	// A complaint and nothing else:
	//   The well is dry           20 %
	//   The hose is split         15 %
	//   The motor is worn         12 %
	//   Nothing is wrong          59 %
	// It hums roughly and takes 6.2 A:
	//   The well is dry           33 %
	//   The hose is split          9 %
	//   The motor is worn        100 %
	//   Nothing is wrong          10 %
}

// What is wrong with a file is said all at once, with where it stands.
func ExampleLoad_problems() {
	_, err := knowledge.LoadWith(os.DirFS("testdata/good"), []byte("learned:\n  - {cause: hose_spilt, per_1000: 5}\n"),
		nil)
	fmt.Println(err)
	// Output:
	// learned.yaml:2:6: hose_spilt is no cause
}

// Which of several checks tells most about a cause, in bits.
func ExampleInquiry_Information() {
	pump, err := knowledge.Load(os.DirFS("testdata/good"), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	in := pump.NewInquiry()
	in.Enter([]knowledge.Finding{{ID: "water_at_tap", State: "little"}})
	checks := []string{"hum", "motor_current", "puddle_at_plug"}
	bits, err := in.Information(checks, func(int) bool { return true })
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, c := range pump.Causes[:3] {
		most := 0
		for k := range checks {
			if bits[i][k] > bits[i][most] {
				most = k
			}
		}
		fmt.Printf("%s: %s tells most\n", c.ID, checks[most])
	}
	// Output:
	// well_dry: hum tells most
	// hose_split: motor_current tells most
	// motor_worn: motor_current tells most
}
