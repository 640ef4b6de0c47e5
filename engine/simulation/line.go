package simulation

// slugs is the most pieces of fuel and gas that a line is followed in; beyond it the last ones are merged.
const slugs = 96

// line is a fuel line from pump to burner: pieces of fuel (above 0) and gas (below 0), in µL, the burner's end first.
// What goes in at the pump pushes as much out at the burner.
type line struct {
	slug   [slugs]float64
	first  int
	n      int
	pocket float64 // µL of gas that gathers at the pump's end before it moves
}

// fill fills the line with fuel.
func (l *line) fill(volume float64) { *l = line{n: 1}; l.slug[0] = volume }

// drain lets fuel run out of the burner's end, so that gas stands in its place.
func (l *line) drain(volume float64) {
	fuel, gas := l.content()
	if volume = min(volume, fuel); volume <= 0 {
		return
	}
	*l = line{n: 2, pocket: l.pocket}
	l.slug[0], l.slug[1] = -(gas + volume), fuel-volume
}

func (l *line) content() (fuel, gas float64) {
	for i := range l.n {
		if s := l.slug[(l.first+i)%slugs]; s > 0 {
			fuel += s
		} else {
			gas -= s
		}
	}
	return fuel, gas
}

func (l *line) append(signed float64) {
	if signed == 0 {
		return
	}
	last := (l.first + l.n - 1) % slugs
	switch {
	case l.n > 0 && (l.slug[last] > 0) == (signed > 0):
		l.slug[last] += signed
	case l.n == slugs: // full: join the last piece of the same kind
		l.slug[(last+slugs-1)%slugs] += signed
	default:
		l.slug[(l.first+l.n)%slugs] = signed
		l.n++
	}
}

// push puts fuel and gas in at the pump and returns the fuel and gas that leave at the burner. Gas moves on only once
// more than gather has collected.
func (l *line) push(fuel, gas, gather float64) (outFuel, outGas float64) {
	l.append(fuel)
	pushed := fuel
	if l.pocket += gas; l.pocket > gather {
		l.append(-l.pocket)
		pushed += l.pocket
		l.pocket = 0
	}
	for pushed > 1e-12 && l.n > 0 {
		s := l.slug[l.first]
		size := s
		if s < 0 {
			size = -s
		}
		part := min(size, pushed)
		pushed -= part
		if s > 0 {
			outFuel += part
			l.slug[l.first] -= part
		} else {
			outGas += part
			l.slug[l.first] += part
		}
		if size-part < 1e-12 {
			l.first = (l.first + 1) % slugs
			l.n--
		}
	}
	return outFuel, outGas
}
