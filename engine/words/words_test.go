package words_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	"lightoff/engine/words"
)

func reader(t *testing.T) *words.Reader {
	m, err := heater.Model()
	require.NoError(t, err)
	return words.New(m)
}

func plain(r words.Reading) string {
	if r.IsNumber {
		return fmt.Sprintf("%s=%g", r.ID, r.Number)
	}
	return r.ID + "=" + r.State
}

func TestReadFindsWhatWasSaidAndNothingElse(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct {
		text, asked string
		want        []string
		unclear     []string
	}{
		{"E-08", "", []string{"fault_code=E-08"}, nil},
		{"e8", "", []string{"fault_code=E-08"}, nil},
		{"E 10", "", []string{"fault_code=E-10"}, nil},
		{"error code 3", "", []string{"fault_code=E-03"}, nil},
		{"fault 7 and now", "", []string{"fault_code=E-07"}, nil},
		{"err: 6", "", []string{"fault_code=E-06"}, nil},
		{"it shows E-42", "", []string{"fault_code=other"}, nil},
		{"8", "", nil, nil},
		{"8", "fault_code", []string{"fault_code=E-08"}, nil},
		{"had e10 yesterday had E8", "", nil, []string{"e10", "E8"}},
		{"E-01 12.6 rest 10.4 glow at the heater", "", []string{"fault_code=E-01", "rest_voltage=12.6", "glow_voltage_heater=10.4"}, nil},
		{"12,6 v resting", "", []string{"rest_voltage=12.6"}, nil},
		{"12.6 rest, 9.9 glowing on the battery", "", []string{"rest_voltage=12.6", "glow_voltage_battery=9.9"}, nil},
		{"10.4 glow", "", nil, []string{"10.4"}},
		{"battery 25.2", "", nil, []string{"25.2"}},
		{"12.6 V", "", nil, []string{"12.6 V"}},
		{"12,6", "rest_voltage", []string{"rest_voltage=12.6"}, nil},
		{"-3", "ambient_temperature", []string{"ambient_temperature=-3"}, nil},
		{"yes", "wet_joint", []string{"wet_joint=yes"}, nil},
		{"white smoke and it won't start", "", []string{"smoke=white_thick", "complaint=wont_start"}, nil},
		{"no smoke, pump's ticking", "", []string{"smoke=none", "pump_ticks=regular"}, nil},
		{"pump is not ticking", "", []string{"pump_ticks=none"}, nil},
		{"maybe black smoke", "", nil, []string{"black smoke"}},
		{"no headache", "", nil, nil},
		{"I have a headache", "", []string{"people_unwell=yes"}, nil},
		{"fed up with it for 3 weeks", "", nil, nil},
	} {
		t.Run(tt.text, func(t *testing.T) {
			got, unclear := r.Read(tt.text, tt.asked, "en")
			var plainGot []string
			for _, g := range got {
				plainGot = append(plainGot, plain(g))
				require.NotEmpty(t, g.Words)
			}
			require.Equal(t, tt.want, plainGot)
			require.Equal(t, tt.unclear, unclear)
		})
	}
}

func FuzzReadNeverPanicsAndReadsOnlyWhatTheModelKnows(f *testing.F) {
	m, err := heater.Model()
	if err != nil {
		f.Fatal(err)
	}
	r := words.New(m)
	for _, s := range []string{"E-08", "12.6 rest 10.4 glow", "e8 again, no smoke", "’–, 12,", "24 v truck err 99"} {
		f.Add(s, "fault_code")
	}
	f.Fuzz(func(t *testing.T, text, asked string) {
		readings, _ := r.Read(text, asked, "en")
		for _, g := range readings {
			_, observed := m.Observation(g.ID)
			_, setup := m.SetupFact(g.ID)
			if !observed && !setup {
				t.Fatalf("%q read as %s, which the model does not know", text, g.ID)
			}
		}
	})
}
