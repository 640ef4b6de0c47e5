package diagnosis_test
import ("testing";"fmt";"os";"strings";"strconv";"time"
"lightoff/engine/diagnosis";"lightoff/engine/heater")
func TestProbe(t *testing.T){
 m,err:=heater.Model(); if err!=nil{t.Fatal(err)}
 e:=diagnosis.New(m)
 for _,line:=range strings.Split(os.Getenv("CASES"),"\n"){
  var r diagnosis.Request
  for _,w:=range strings.Fields(line){ if w[0]=='+' {r.Tools=append(r.Tools,w[1:]);continue}; k,v,_:=strings.Cut(w,"="); o:=diagnosis.Observation{ID:k,State:v}; if x,er:=strconv.ParseFloat(v,64); er==nil && k!="nominal_voltage"&&k!="display_nominal" {o=diagnosis.Observation{ID:k,Kind:diagnosis.NumberValue,Number:x}}; r.Observations=append(r.Observations,o)}
  t0:=time.Now(); a,err:=e.Assess(r); d:=time.Since(t0)
  fmt.Println("==",line,d.Round(time.Millisecond)); if err!=nil{fmt.Println(err);continue}
  for _,c:=range a.Causes[:7]{fmt.Printf("  %.3f(%.3f) %s",c.Probability,c.BaseRate,c.ID)}
  fmt.Println(); fmt.Print("  checks:"); for i,c:=range a.NextChecks{ if i<5 {fmt.Printf(" %s %.3f/%g;",c.ObservationID,c.GainBits,c.Minutes)}}
  fmt.Print("\n  plan:"); for _,c:=range a.Plan.Steps{fmt.Printf(" %s(%s)%.2f %s;",c.RepairID,c.CauseID,c.Probability,c.HeldBack)}
  fmt.Printf("\n  dangers:"); for _,c:=range a.Dangers{fmt.Print(" ",c.ID)}; fmt.Printf(" conflict %.2f %v\n",a.Conflict,a.Contradictions)
 }}
