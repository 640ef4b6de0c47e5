package cases_test

import (
	"testing"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"

	"github.com/stretchr/testify/require"
)

// BenchmarkCase runs whole cases, each with its questions.
func BenchmarkCase(b *testing.B) {
	m, err := heater.Model()
	require.NoError(b, err)
	suite, err := cases.Read(heater.Cases())
	require.NoError(b, err)
	e := diagnosis.New(m)
	for i := 0; b.Loop(); i++ {
		_, err := suite.Run(m, e, &suite.Cases[i%len(suite.Cases)])
		require.NoError(b, err)
	}
}
