// Package troubleshoot finds the cheapest way from what may be wrong to a thing that works: which checks and repairs to
// make, in which order, and when to stop and pay for an end. It knows nothing of any appliance.
//
// A Problem is a set of scenarios, each a set of causes that are active together. A repair mends causes and is followed
// by a test that reports whether all is well; two repairs may share one test and the preparation that both need. A
// check tells scenarios apart. An ending costs most and mends whatever it mends without further search.
//
// The cheapest order of repairs without further checks is found exactly, by dynamic programming over the sets of
// repairs. Checks are chosen by looking one check ahead of it, and again after every step. That policy is not optimal,
// since planning with checks and overlapping repairs is intractable (Vomlelová 2003, Complexity of decision-theoretic
// troubleshooting, from memory); the tests compare it with exhaustive search on small problems.
//
// The theory is Kadane & Simon 1977 and Heckerman, Breese & Rommelse 1995.
package troubleshoot
