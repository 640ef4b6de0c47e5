//go:build !amd64

package bayes

func crossRows(dst, src []lanes, table []float64, enter, leave []int32, stepIn, stepOut int) {
	crossRowsPlain(dst, src, table, enter, leave, stepIn, stepOut)
}

func gatherPairs(dst, src []lanes, rows []row, in []int32, value []float64) {
	gatherPairsPlain(dst, src, rows, in, value)
}

func scatterPairs(dst, src []lanes, rows []row, in []int32, value []float64) {
	scatterPairsPlain(dst, src, rows, in, value)
}

func sumLanes(m []lanes) lanes { return sumLanesPlain(m) }
