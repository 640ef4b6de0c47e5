package bayes_test

import (
	"fmt"
	"log"

	"lightoff/engine/bayes"
)

// noFlame is a query on the network of fire after the flame has failed.
func noFlame() (q *bayes.Query, igniter, pump, click bayes.VarID) {
	n, igniter, pump, flame, click := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q = tree.NewQuery()
	q.Observe(flame, 1)
	return q, igniter, pump, click
}

func ExampleQuery_Joint() {
	q, igniter, pump, _ := noFlame()
	p, err := q.Joint([]bayes.VarID{igniter, pump})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("neither %.3f, pump only %.3f, igniter only %.3f, both %.3f\n", p[0], p[1], p[2], p[3])
	// Output: neither 0.121, pump only 0.631, igniter only 0.235, both 0.013
}

func ExampleQuery_Conflict() {
	q, igniter, pump, click := noFlame()
	show := func() {
		c, err := q.Conflict()
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%.2f\n", c)
	}
	q.Observe(click, 1) // a sound pump and a sound igniter, and still no flame?
	show()
	q.Observe(igniter, 0)
	show()
	q.Observe(pump, 1)
	show()
	// Output:
	// 0.89
	// 1.79
	// 0.29
}

func ExampleQuery_Decide() {
	q, _, pump, click := noFlame()
	utility := [][]float64{{-60, -60}, {-20, -90}} // replace the pump, or look elsewhere first
	for _, heard := range []int{0, 1} {
		q.Observe(click, heard)
		d, err := q.Decide(pump, utility)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("clicks %d: action %d, %.0f\n", heard, d.Action, d.ExpectedUtility)
	}
	// Output:
	// clicks 0: action 0, -60
	// clicks 1: action 1, -26
}

func ExampleQuery_SameDecision() {
	q, igniter, pump, click := noFlame()
	p, err := q.SameDecision(pump, 1, 0.5, []bayes.VarID{click, igniter})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("the pump will still be the suspect with probability %.2f\n", p)
	// Output: the pump will still be the suspect with probability 0.61
}

func ExampleExpectedCounts() {
	n, igniter, pump, _, _ := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	// Two flames failed; once the igniter was found sound.
	counts, err := bayes.ExpectedCounts(tree, []bayes.Case{
		{bayes.Unknown, bayes.Unknown, 1, bayes.Unknown},
		{0, bayes.Unknown, 1, bayes.Unknown},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("igniters broken %.2f, pumps stuck %.2f\n", counts.Tables[igniter][1], counts.Tables[pump][1])
	// Output: igniters broken 0.25, pumps stuck 1.48
}
