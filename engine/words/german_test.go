package words_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What German owners write, in the spellings that keyboards and haste produce.
func TestGermanSayingsMeanWhatWasSaid(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct {
		text string
		want []string
	}{
		{"springt nicht an", []string{"complaint=wont_start"}},
		{"Sie startet einfach nicht und es kommt dicker weisser Rauch",
			[]string{"complaint=wont_start", "smoke=white_thick"}},
		{"zuendet nicht, qualmt aber dick weiß", []string{"complaint=wont_start", "smoke=white_thick"}},
		{"läuft kurz an und geht dann wieder aus", []string{"complaint=starts_then_stops"}},
		{"geht nach drei Minuten aus", []string{"complaint=starts_then_stops", "minutes_to_fail=3"}},
		{"Heizung geht nicht mehr aus", []string{"complaint=wont_stop"}},
		{"laesst sich nicht ausschalten", []string{"complaint=wont_stop"}},
		{"wird nicht richtig warm", []string{"complaint=little_heat"}},
		{"nur noch lauwarm", []string{"complaint=little_heat"}},
		{"da tut sich gar nichts", []string{"complaint=dead"}},
		{"Display bleibt dunkel", []string{"fault_code=blank_display"}},
		{"kein Fehlercode", []string{"fault_code=none"}},
		{"Fehler 8", []string{"fault_code=E-08"}},
		{"Fehlercode: 10", []string{"fault_code=E-10"}},
		{"Störung E-03", []string{"fault_code=E-03"}},
		{"Stoerungscode 1", []string{"fault_code=E-01"}},
		{"zeigt E8 an", []string{"fault_code=E-08"}},
		{"gestern hatte sie E10, jetzt E8", []string{"earlier_code=E-10", "fault_code=E-08"}},
		{"erst Fehler 1, dann Fehler 10", []string{"earlier_code=E-01", "fault_code=E-10"}},
		{"dichter weißer Qualm aus dem Auspuff", []string{"smoke=white_thick"}},
		{"raucht schwarz", []string{"smoke=black"}},
		{"blaugrauer Rauch", []string{"smoke=blue_grey"}},
		{"kein Rauch, Pumpe tickt", []string{"smoke=none", "pump_ticks=regular"}},
		{"raucht gar nicht", []string{"smoke=none"}},
		{"kein weißer Rauch", nil},
		{"die Pumpe tickt nicht", []string{"pump_ticks=none"}},
		{"Dosierpumpe klackert überhaupt nicht", []string{"pump_ticks=none"}},
		{"Pumpe tickt und sie startet nicht", []string{"pump_ticks=regular", "complaint=wont_start"}},
		{"Pumpe tickt unregelmaessig", []string{"pump_ticks=irregular"}},
		{"ich höre die Pumpe klackern", []string{"pump_ticks=regular"}},
		{"viele Luftblasen in der Leitung", []string{"bubbles=many"}},
		{"ein paar Bläschen", []string{"bubbles=few"}},
		{"nicht viele Blasen", []string{"bubbles=few"}},
		{"keine Luftblasen", []string{"bubbles=none"}},
		{"kein Sprit in der Leitung", []string{"bubbles=empty_line"}},
		{"Diesel tropft aus dem Auspuff", []string{"fuel_in_exhaust=yes"}},
		{"kein Diesel im Auspuff", []string{"fuel_in_exhaust=no"}},
		{"es stinkt nach Diesel", []string{"smell_fuel=yes"}},
		{"riecht gar nicht mehr nach Diesel", []string{"smell_fuel=no"}},
		{"kein Spritgeruch", []string{"smell_fuel=no"}},
		{"riecht innen nach Abgas", []string{"smell_exhaust_inside=yes"}},
		{"riecht nicht nach Abgasen", []string{"smell_exhaust_inside=no"}},
		{"riecht verschmort", []string{"smell_burning=yes"}},
		{"Kopfschmerzen", []string{"people_unwell=yes"}},
		{"wir haben beide Kopfweh", []string{"people_unwell=yes"}},
		{"mir ist schwindelig", []string{"people_unwell=yes"}},
		{"mir wird etwas uebel", []string{"people_unwell=yes"}},
		{"wir haben keine Kopfschmerzen", nil},
		{"mir ist nicht schlecht", nil},
		{"der CO-Melder piept", []string{"co_alarm=sounding"}},
		{"Kohlenmonoxidmelder hat gerade ausgelöst", []string{"co_alarm=sounding"}},
		{"CO Melder piept nicht", []string{"co_alarm=silent"}},
		{"Rauch im Bus!", []string{"flames_or_smoke_inside=yes"}},
		{"kein Feuer im Wohnmobil", []string{"flames_or_smoke_inside=no"}},
		{"gerade erst eingebaut", []string{"just_installed=yes"}},
		{"Tank war leer", []string{"ran_dry=yes"}},
		{"wurde nie leergefahren", []string{"ran_dry=no"}},
		{"neues Bedienteil", []string{"controller_changed=yes"}},
		{"24-V-Anlage", []string{"nominal_voltage=24"}},
		{"12 Volt Bordnetz", []string{"nominal_voltage=12"}},
		{"seit 3 Wochen habe ich die Nase voll", nil},
	} {
		t.Run(tt.text, func(t *testing.T) {
			got, _ := read(r, tt.text, "", "de-DE")
			requireSaid(t, tt.want, got)
		})
	}
}

// An open question is answered in the words of the language's own labels.
func TestGermanAnswers(t *testing.T) {
	r := reader(t)
	for _, tt := range []struct{ text, asked, want string }{
		{"ja", "wet_joint", "wet_joint=yes"},
		{"Nein.", "wet_joint", "wet_joint=no"},
		{"12,6", "rest_voltage", "rest_voltage=12.6"},
		{"Keine", "bubbles", "bubbles=none"},
		{"Dicht weiß, Kraftstoffgeruch", "smoke", "smoke=white_thick"},
	} {
		got, _ := read(r, tt.text, tt.asked, "de")
		require.Len(t, got, 1, tt.text)
		require.Equal(t, tt.want, plain(got[0]))
	}
}
