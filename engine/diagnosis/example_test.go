package diagnosis_test

import (
	"fmt"

	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
)

// A heater shows the code of the pump's circuit, the fan turns, and the plug at the pump is found to be loose. Dangers
// come first; of the causes here only the one that leads, then what to do about it.
func Example() {
	model, err := heater.Model()
	if err != nil {
		fmt.Println(err)
		return
	}
	a, err := diagnosis.New(model).Assess(diagnosis.Request{Locale: "en", Observations: []diagnosis.Observation{
		{ID: "complaint", State: "wont_start"},
		{ID: "fault_code", State: "E-04"},
		{ID: "fan_runs", State: "yes"},
		{ID: "pump_connector", State: "loose"},
		{ID: "co_alarm_fitted", State: "no"},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range a.Dangers {
		fmt.Println("danger:", d.ID)
	}
	fmt.Println("leads: ", a.Causes[0].ID, a.Causes[0].Probability > 0.5)
	fmt.Println("first: ", a.Plan.Steps[0].RepairID)
	// Output:
	// danger: no_tested_alarm
	// leads:  pump_unplugged true
	// first:  plug_in_pump
}

// A finding that nobody can make is refused, with what is wrong about it.
func ExampleEngine_Check() {
	model, err := heater.Model()
	if err != nil {
		fmt.Println(err)
		return
	}
	err = diagnosis.New(model).Check(diagnosis.Request{Observations: []diagnosis.Observation{
		{ID: "rest_voltage", Kind: diagnosis.NumberValue, Number: 300},
	}})
	fmt.Println(err != nil)
	// Output:
	// true
}
