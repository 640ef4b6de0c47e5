package bayes

// vectors reports whether the processor and the operating system have AVX, whose registers hold four lanes.
var vectors = hasAVX()

func hasAVX() bool

//go:noescape
func crossRowsAVX(dst, src []lanes, table []float64, enter, leave []int32, stepIn, stepOut int)

//go:noescape
func gatherPairsAVX(dst, src []lanes, rows []row, in []int32, value []float64)

//go:noescape
func scatterPairsAVX(dst, src []lanes, rows []row, in []int32, value []float64)

//go:noescape
func sumLanesAVX(m []lanes, total *lanes)

func crossRows(dst, src []lanes, table []float64, enter, leave []int32, stepIn, stepOut int) {
	if vectors {
		crossRowsAVX(dst, src, table, enter, leave, stepIn, stepOut)
		return
	}
	crossRowsPlain(dst, src, table, enter, leave, stepIn, stepOut)
}

func gatherPairs(dst, src []lanes, rows []row, in []int32, value []float64) {
	if vectors {
		gatherPairsAVX(dst, src, rows, in, value)
		return
	}
	gatherPairsPlain(dst, src, rows, in, value)
}

func scatterPairs(dst, src []lanes, rows []row, in []int32, value []float64) {
	if vectors {
		scatterPairsAVX(dst, src, rows, in, value)
		return
	}
	scatterPairsPlain(dst, src, rows, in, value)
}

func sumLanes(m []lanes) (total lanes) {
	if !vectors {
		return sumLanesPlain(m)
	}
	sumLanesAVX(m, &total)
	return total
}
