// Package physics computes what a small diesel-burning air heater and its supply obey: volt drop, a battery under load,
// a glow plug warming, fuel doses, cold fuel, thin air, ducts and sensors. Every function is pure: the same arguments
// give the same result on every machine.
//
// Values are in SI units and carry them in their types; constants such as [SquareMillimetre], [Microlitre] and
// [AmpereHour] convert. The large quantities return a result that holds its [Working], line by line, with the source of
// each formula. Where the trade has a range rather than a figure, the result is a [Band].
//
// An argument that is not a number, or that lies where a formula says nothing, gives a [*RangeError], and so does a
// result that leaves the range in which its formula holds. Several wrong arguments are joined in one error.
//
// The limits: figures marked "common practice, no source" or "from memory" in a [Step] are no more than that. Nothing
// here replaces the heater's own instructions, local codes or licensed practice, and nothing here says how long
// anybody may breathe carbon monoxide.
package physics
