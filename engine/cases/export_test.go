package cases

import "lightoff/engine/diagnosis"

// Answer is what the caller of a case finds, for tests.
func (s *Suite) Answer(c *Case, id string) diagnosis.Observation { return s.answer(c, id) }
