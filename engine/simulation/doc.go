// Package simulation is a diesel air heater made of physics, stepped through time: battery and cables, glow plug,
// metering pump, fuel line with its bubbles, chamber and flame, exchanger, blower, and the panel that starts, watches
// and stops it. Faults are physical changes to it: a resistance, a leak, a blocked area, a lost magnet. What an owner
// could see, hear, smell, measure or recall is read off it with human error. It knows nothing of any network of causes,
// so that it can judge one.
//
// A heater is built from a seed and the faults in it; the same seed and faults give the same heater, the same runs and
// the same answers on every machine. The package imports math/rand/v2 for its generator, which the caller's seed alone
// drives; it has no clock, file or network.
//
// What is computed rests on engine/physics and on the constants in constants.go, each with its source, or marked
// "common practice, no source" or "from memory" where it is no more than that. The limits: the chamber is four lumped
// masses and one film of fuel, not a flow field; the flame is lit or not; ageing is a state that a heater is given, not
// a process; a room is not modelled. What faults of electronics do (a panel, a board, a mismatch) follows no physics;
// they are put in as the trade describes them. Figures of exhaust gases are not modelled at all, and nothing here says
// what is safe.
package simulation
