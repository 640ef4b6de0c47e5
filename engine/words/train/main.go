// Command train learns the weights of the second reader of texts from the labelled sentences in testdata/sentences
// and writes them into the model's folder. It gives the same bytes every time.
//
// One logistic regression for each thing that can be said, over what the reader sees of a stretch of a text. A
// sentence's labels say what is in it but not where, so the places are found in rounds: first where the reader by
// rules finds them, then where the round before thinks it likeliest.
package main

import (
	"cmp"
	"flag"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"lightoff/engine/heater"
	"lightoff/engine/words"
)

func main() {
	log.SetFlags(0)
	sentences := flag.String("sentences", "../../testdata/sentences", "folder of the labelled sentences")
	out := flag.String("out", "../heater/model/hunches.bin", "file to write")
	without := flag.String("without", "", "files to leave out, by the beginning of their names, with commas between")
	flag.Parse()
	m, err := heater.Model()
	if err != nil {
		log.Fatal(err)
	}
	var held, learnt []*text
	files, err := filepath.Glob(filepath.Join(*sentences, "*.yaml"))
	if err != nil {
		log.Fatal(err)
	}
	ways, err := filepath.Glob(filepath.Join(*sentences, "ways", "*.yaml"))
	if err != nil {
		log.Fatal(err)
	}
	for _, f := range append(files, ways...) {
		texts, err := readTexts(f)
		if err != nil {
			log.Fatal(err)
		}
		left := *without != "" && slices.ContainsFunc(strings.Split(*without, ","),
			func(p string) bool { return strings.HasPrefix(filepath.Base(f), p) })
		if left {
			held = append(held, texts...)
		} else {
			learnt = append(learnt, texts...)
		}
	}
	usual := usualWords(learnt)
	m.Hunches = words.WriteHunches(nil, usual, nil) // what was learnt before must not weigh in
	r := words.New(m)
	t := newTrainer(r, learnt)
	t.usual = usual
	t.learn()
	data := t.pack()
	if err := os.WriteFile(*out, data, 0o644); err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%d sentences, %d stretches, %d labels, %d signs: %d bytes\n",
		len(learnt), len(t.examples), len(t.labels), len(t.rows), len(data))
	if len(held) > 0 {
		t.report(r, held)
	}
}

// report prints, for sentences that were left out, how much of what they say is found and how much else, by threshold.
func (t *trainer) report(r *words.Reader, held []*text) {
	type guess struct {
		p     float32
		right bool
	}
	var all []guess
	said := 0
	for _, x := range held {
		said += len(x.said)
		best := map[int]float32{}
		for _, s := range r.Stretches(x.words, x.locale) {
			scores := t.score(t.known(s.Signs))
			for k, v := range scores {
				if b, ok := best[k]; !ok || v > b {
					best[k] = v
				}
			}
		}
		for k, v := range best {
			all = append(all, guess{v, x.said[t.labels[k]]})
		}
	}
	slices.SortFunc(all, func(a, b guess) int { return cmp.Compare(b.p, a.p) })
	right := 0
	next := 0.1
	for i, g := range all {
		if g.right {
			right++
		}
		if share := float64(right) / float64(said); share >= next {
			fmt.Printf("found %.0f %% of %d at log odds %.2f, with %d others in %d sentences\n",
				100*share, said, g.p, i+1-right, len(held))
			next += 0.05
		}
		if i > 20*len(held) {
			break
		}
	}
}
