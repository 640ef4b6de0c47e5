package bayes_test

import (
	"errors"
	"fmt"
	"log"
	"strings"

	"lightoff/engine/bayes"
)

// fire is an igniter and a fuel pump, either of which may keep a flame from lighting, and a test of the pump.
func fire() (n *bayes.Network, igniter, pump, flame, click bayes.VarID) {
	var b bayes.Builder
	igniter = b.Add("igniter broken", "no", "yes")
	pump = b.Add("pump stuck", "no", "yes")
	flame = b.Add("no flame", "no", "yes")
	click = b.Add("pump clicks", "no", "yes")
	b.Table(igniter, nil, []float64{0.98, 0.02})
	b.Table(pump, nil, []float64{0.95, 0.05})
	b.NoisyOr(flame, []bayes.VarID{igniter, pump}, []float64{0.95, 0.99}, 0.01)
	b.Table(click, []bayes.VarID{pump}, []float64{0.1, 0.9, 0.95, 0.05})
	n, err := b.Build()
	if err != nil {
		log.Fatal(err)
	}
	return n, igniter, pump, flame, click
}

func Example() {
	n, igniter, pump, flame, click := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	q.Observe(click, 1)
	for _, v := range []bayes.VarID{igniter, pump} {
		p, err := q.Marginal(v)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%s: %.3f\n", n.Variable(v).Name, p[1])
	}
	// Output:
	// igniter broken: 0.601
	// pump stuck: 0.091
}

func ExampleBuilder_Build() {
	var b bayes.Builder
	rain := b.Add("rain", "no", "yes")
	b.Table(rain, nil, []float64{0.8, 0.2})
	b.Table(b.Add("wet", "no", "yes"), []bayes.VarID{rain}, []float64{0.9, 0.1, 0.07, 0.9})
	_, err := b.Build()
	fmt.Println(err)
	// Output: the row of variable "wet" for rain=yes sums to 0.97, not to one
}

func ExampleQuery_MutualInformation() {
	n, igniter, pump, flame, click := fire()
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	info, err := q.MutualInformation([]bayes.VarID{igniter, pump}, []bayes.VarID{click})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("listening to the pump: %.2f bits about the igniter, %.2f about the pump\n", info[0][0], info[1][0])
	// Output: listening to the pump: 0.27 bits about the igniter, 0.58 about the pump
}

func ExampleQuery_SetJointLikelihood() {
	n, igniter, pump, flame, _ := fire()
	tree, err := bayes.Compile(n, []bayes.VarID{igniter, pump})
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(flame, 1)
	// A witness says that not both are broken, and is right nine times out of ten.
	q.SetJointLikelihood(0, []float64{0.9, 0.9, 0.9, 0.1})
	p, err := q.Marginal(pump)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.3f\n", p[1])
	// Output: 0.640
}

func ExampleImpossibleError() {
	n, err := bayes.ReadBIF(strings.NewReader(`network switch {}
		variable closed { type discrete [ 2 ] { no, yes }; }
		variable lamp { type discrete [ 2 ] { off, on }; }
		probability ( closed ) { table 0.5, 0.5; }
		probability ( lamp | closed ) { (no) 1, 0; (yes) 0.1, 0.9; }`))
	if err != nil {
		log.Fatal(err)
	}
	tree, err := bayes.Compile(n)
	if err != nil {
		log.Fatal(err)
	}
	q := tree.NewQuery()
	q.Observe(0, 0)
	q.Observe(1, 1)
	_, err = q.LogEvidence()
	var impossible *bayes.ImpossibleError
	fmt.Println(errors.As(err, &impossible), err)
	// Output: true impossible findings: closed, lamp
}
