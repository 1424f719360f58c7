package trend

import (
	"encoding/binary"
	"math"
	"sync"
)

// known keeps inverses: machines of one kind have tables of the same thicknesses and nozzles, and those alone shape the matrix.
var known struct {
	sync.Mutex
	inverses map[string][]float64
	numbers  int // in all of them
}

// mostKnown is how many numbers are kept at most, 8 MB of them.
const mostKnown = 1 << 20

// inverse is the inverse of the covariance of points at places, noise included, row by row. It must not be written to.
func (m Model) inverse(at []Place) []float64 {
	n := len(at)
	var room [1024]byte
	key := room[:0]
	for _, x := range [...]float64{m.SlopeSD, m.Bend, m.Reach, m.Step, m.Shift, m.Noise} {
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(x))
	}
	for _, p := range at {
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(p.X))
		key = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(key, uint32(p.Group)), uint32(p.Kind))
	}
	known.Lock()
	inv := known.inverses[string(key)]
	known.Unlock()
	if inv != nil || n == 0 {
		return inv
	}
	k := make([]float64, n*n)
	for i := range at {
		for j := range i + 1 {
			v := m.covariance(at[i], at[j])
			if i == j {
				v += m.Noise * m.Noise
			}
			k[i*n+j], k[j*n+i] = v, v
		}
	}
	inv = make([]float64, n*n)
	invert(k, inv, n)
	known.Lock()
	if known.inverses == nil || known.numbers+n*n > mostKnown {
		known.inverses, known.numbers = map[string][]float64{}, 0
	}
	known.inverses[string(key)] = inv
	known.numbers += n * n
	known.Unlock()
	return inv
}

// invert puts the inverse of a symmetric positive definite matrix into inv, by the Cholesky factors, which it leaves in k. (Own,
// since a library for matrices of any size costs every command some tenth of a millisecond when it starts.) Four sums are made
// side by side: the processor need not wait for one before it begins the next.
func invert(k, inv []float64, n int) {
	for j := range n { // k = L Lᵀ, L below the diagonal
		row := k[j*n : j*n+j]
		sum := k[j*n+j]
		for _, x := range row {
			sum -= x * x
		}
		pivot := math.Sqrt(math.Max(sum, 1e-12))
		k[j*n+j] = pivot
		i := j + 1
		for ; i+3 < n; i += 4 {
			a, b, c, d := k[i*n:i*n+j+1], k[(i+1)*n:(i+1)*n+j+1], k[(i+2)*n:(i+2)*n+j+1], k[(i+3)*n:(i+3)*n+j+1]
			p, q, r, s := a[j], b[j], c[j], d[j]
			for at, x := range row {
				p -= a[at] * x
				q -= b[at] * x
				r -= c[at] * x
				s -= d[at] * x
			}
			a[j], b[j], c[j], d[j] = p/pivot, q/pivot, r/pivot, s/pivot
		}
		for ; i < n; i++ {
			a := k[i*n : i*n+j+1]
			p := a[j]
			for at, x := range row {
				p -= a[at] * x
			}
			a[j] = p / pivot
		}
	}
	low := make([]float64, n*n) // (L⁻¹)ᵀ, above the diagonal
	for j := 0; j < n; j += 4 {
		last := min(j+4, n)
		for i := j; i < n; i++ {
			row := k[i*n : i*n+i]
			if last-j < 4 || i < last {
				for c := j; c < last && c <= i; c++ {
					sum := 0.0
					if c == i {
						sum = 1
					}
					for at := c; at < i; at++ {
						sum -= row[at] * low[c*n+at]
					}
					low[c*n+i] = sum / k[i*n+i]
				}
				continue
			}
			a, b, c, d := low[j*n:j*n+i+1], low[(j+1)*n:(j+1)*n+i+1], low[(j+2)*n:(j+2)*n+i+1], low[(j+3)*n:(j+3)*n+i+1]
			var p, q, r, s float64
			for at := j; at < i; at++ {
				x := row[at]
				p -= x * a[at]
				q -= x * b[at]
				r -= x * c[at]
				s -= x * d[at]
			}
			pivot := k[i*n+i]
			a[i], b[i], c[i], d[i] = p/pivot, q/pivot, r/pivot, s/pivot
		}
	}
	for i := range n {
		row := low[i*n+i : i*n+n]
		j := 0
		for ; j+3 <= i; j += 4 {
			a, b, c, d := low[j*n+i:j*n+n], low[(j+1)*n+i:(j+1)*n+n], low[(j+2)*n+i:(j+2)*n+n], low[(j+3)*n+i:(j+3)*n+n]
			var p, q, r, s float64
			for at, x := range row {
				p += x * a[at]
				q += x * b[at]
				r += x * c[at]
				s += x * d[at]
			}
			inv[i*n+j], inv[i*n+j+1], inv[i*n+j+2], inv[i*n+j+3] = p, q, r, s
		}
		for ; j <= i; j++ {
			a := low[j*n+i : j*n+n]
			sum := 0.0
			for at, x := range row {
				sum += x * a[at]
			}
			inv[i*n+j] = sum
		}
		for j := range i {
			inv[j*n+i] = inv[i*n+j]
		}
	}
}
