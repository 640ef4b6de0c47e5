// Package learning turns settled cases into better numbers for a model, with a report on cases that it did not see.
//
// What is learnt are the strengths of noisy links, what happens otherwise, and the figures per 1,000: no rule, reading,
// danger, limit or gate. Expectation-maximisation (Dempster, Laird & Rubin 1977) fills in what was not seen; the
// experts' numbers are the prior, worth EquivalentSampleSize cases each, however many rounds there are. Figures per
// 1,000 are counted from what cases turned out to be.
//
// No single source can move a number by more than Limit. In the first round, whose expected counts hang on the experts'
// numbers alone, each source's counts for a row are scaled down until they could move it by half of that; later rounds,
// in which one source's cases are read in the light of another's, may move each number by a further quarter at most,
// which a source could turn into its opposite. A figure per 1,000 is held to a tenth of the limit. A cause that a limit
// of the model watches for danger is never made rarer. The bound is about what is learnt: where links and figures do
// not fit together, all of them go back part of the way to the experts' numbers, which the report says.
//
// Nothing is learnt from a guess: a case teaches if somebody found what it turned out to be. The result depends neither
// on the order of the cases nor on how the work is shared out.
package learning
