package physics_test

import (
	"encoding/csv"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write testdata/tables anew from the folder that LIGHTOFF_REFERENCE names")

// carriedTables are the tables that tests here read.
var carriedTables = []string{"arithmetic.csv", "batteries.csv", "carbon_monoxide.csv", "conductors.csv", "flow.csv",
	"fuels.csv", "fuses.csv", "sensors.csv", "table_awg.csv", "table_iec60228.csv", "table_isa.csv", "table_pt100.csv"}

// keptColumns are those of a long table that are carried; a wide table keeps all of its own.
var keptColumns = []string{"item", "condition", "value", "unit", "source", "basis"}

// The carried tables are those of the folder in which they were gathered. With -update they are written first.
func TestCarriedTablesAreThoseOutside(t *testing.T) {
	folder := os.Getenv("LIGHTOFF_REFERENCE")
	if folder == "" {
		t.Skip("no LIGHTOFF_REFERENCE, where the tables were gathered")
	}
	for _, file := range carriedTables {
		records := recordsOf(t, filepath.Join(folder, file))
		if !strings.HasPrefix(file, "table_") {
			records = slices.DeleteFunc(columns(records, keptColumns), leans)
		}
		if *update {
			writeTable(t, file, records)
		}
		require.Equal(t, records, recordsOf(t, filepath.Join(tablesFolder, file)), file)
	}
}

var elsewhere = regexp.MustCompile(`\bS[0-9]{2}\b`)

// leans says that a row is explained in the gatherers' own list of pages, which is not carried.
func leans(row []string) bool {
	return slices.ContainsFunc(row, elsewhere.MatchString)
}

// columns are the named columns of a table, in that order.
func columns(records [][]string, names []string) [][]string {
	kept := make([][]string, len(records))
	for i, record := range records {
		for _, name := range names {
			kept[i] = append(kept[i], record[slices.Index(records[0], name)])
		}
	}
	return kept
}

func writeTable(t *testing.T, file string, records [][]string) {
	f, err := os.Create(filepath.Join(tablesFolder, file))
	require.NoError(t, err)
	require.NoError(t, csv.NewWriter(f).WriteAll(records))
	require.NoError(t, f.Close())
}
