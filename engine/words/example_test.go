package words_test

import (
	"fmt"

	"lightoff/engine/heater"
	"lightoff/engine/words"
)

// A sentence as somebody types it. What is said outright is believed; what is likely meant is offered and counts only
// once it is confirmed.
func Example() {
	model, err := heater.Model()
	if err != nil {
		fmt.Println(err)
		return
	}
	reader := words.New(model)
	said := reader.Read("err 08, no smoke, 12.4 volts at rest, maybe bubbles in the line", words.Context{Locale: "en"})
	for _, r := range said.Readings {
		if r.IsNumber {
			fmt.Printf("believed: %s = %g (%q)\n", r.ID, r.Number, r.Words)
			continue
		}
		fmt.Printf("believed: %s = %s (%q)\n", r.ID, r.State, r.Words)
	}
	for _, o := range said.Offers {
		fmt.Printf("to be confirmed: %s (%q)\n", o.ID, o.Words)
	}
	// Output:
	// believed: fault_code = E-08 ("err 08")
	// believed: smoke = none ("no smoke")
	// believed: rest_voltage = 12.4 ("12.4 volts")
	// to be confirmed: bubbles ("bubbles")
}

// A bare number answers the question that is open.
func ExampleReader_Read_answer() {
	model, err := heater.Model()
	if err != nil {
		fmt.Println(err)
		return
	}
	said := words.New(model).Read("11,8", words.Context{Asked: "rest_voltage", Locale: "de"})
	fmt.Println(said.Readings[0].ID, said.Readings[0].Number)
	// Output:
	// rest_voltage 11.8
}
