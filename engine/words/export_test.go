package words

// HunchOf is how likely the second reader takes each thing to be said in a text, in log odds.
func (r *Reader) HunchOf(text, locale string) map[[2]string]float64 {
	out := map[[2]string]float64{}
	if r.hunches == nil {
		return out
	}
	sums := make([]int32, len(r.hunches.Labels))
	for _, s := range r.Stretches(text, locale) {
		r.hunches.weigh(s.Signs, sums)
		for k, v := range sums {
			l := r.hunches.Labels[k]
			key := [2]string{l.ID, l.State}
			if was, ok := out[key]; !ok || float64(v)*HunchUnit > was {
				out[key] = float64(v) * HunchUnit
			}
		}
	}
	return out
}
