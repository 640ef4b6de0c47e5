package knowledge

import "slices"

// How one cause brings about another stands in the model's shape: the effects and observations on the way.

// Path lists the variables between two causes, on a shortest way along which the first brings about the second. ok is
// false if it doesn't.
func (m *Model) Path(from, to string) (between []string, ok bool) {
	before := map[string]string{from: ""}
	for queue := []string{from}; len(queue) > 0; queue = queue[1:] {
		for _, child := range m.files.children[queue[0]] {
			if _, seen := before[child]; seen {
				continue
			}
			before[child] = queue[0]
			if child != to {
				queue = append(queue, child)
				continue
			}
			for at := before[to]; at != from; at = before[at] {
				between = append(between, at)
			}
			slices.Reverse(between)
			return between, true
		}
	}
	return nil, false
}

// SecondaryCauses lists the causes, by index, that something else can bring about.
func (m *Model) SecondaryCauses() (list []int) {
	for i, c := range m.Causes {
		if v := m.variables[c.ID]; v != nil && len(v.worst) > 0 {
			list = append(list, i)
		}
	}
	return list
}

// spreads notes which variables each one has a part in, in the order of the files.
func (f *files) spreads() {
	f.children = map[string][]string{}
	note := func(parent, child string) {
		if !slices.Contains(f.children[parent], child) {
			f.children[parent] = append(f.children[parent], child)
		}
	}
	for _, v := range f.variables {
		for _, l := range v.worst {
			note(l.parent, v.id)
		}
		for _, p := range parentsOf(v.rules) {
			note(p, v.id)
		}
		if v.reads != nil {
			for _, p := range f.dependsOn(v.reads) {
				note(p, v.id)
			}
		}
	}
}
