package simulation

import (
	"fmt"
	"testing"
	"time"
)

func TestS2(t *testing.T) {
	for _, f := range Faults() {
		codes := map[string]int{}
		comp := map[string]int{}
		t0 := time.Now()
		em := 0
		for s := uint64(0); s < 20; s++ {
			h, err := New(s, f)
			if err != nil {
				t.Fatal(err)
			}
			rec := h.Live()
			codes[rec.Code]++
			comp[h.Complaint()]++
			em += len(h.Emerged())
		}
		fmt.Println(f, codes, comp, em, time.Since(t0)/20)
	}
}
