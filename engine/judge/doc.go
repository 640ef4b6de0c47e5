// Package judge tries the diagnosis on simulated heaters: it draws faulty ones in the shares of the catalogue, lets a
// simulated owner tell of them and make the checks that are advised first, and says how soon the true cause led, what
// it cost, which dangers went unsaid, whether the probabilities mean what they say, and which causes were taken for one
// another; beside three simpler advisers that are told the same.
//
// The heaters know nothing of the model (package simulation), and the model's numbers are not made from them. A cause
// counts as true only if it takes part: without it the heater would have behaved otherwise, or by itself it would have
// brought about just this. Everything follows from the seed. Seeds from HeldBack on are for judging only; whoever
// changes the model or the simulation looks at lower ones.
package judge

// HeldBack is the first seed that nothing is ever tuned on.
const HeldBack = 9000
