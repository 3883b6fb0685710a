package route

import (
	"cmp"
	"slices"
)

// smallest returns the indexes of the count smallest values, in ascending order
// of value and then of index.
func smallest(values []int, count int) []int32 {
	order := func(a, b int32) int {
		return cmp.Or(cmp.Compare(values[a], values[b]), cmp.Compare(a, b))
	}
	all := make([]int32, len(values))
	for i := range all {
		all[i] = int32(i)
	}
	if count < len(all) {
		partition(all, count, order)
		all = all[:count]
	}
	slices.SortFunc(all, order)
	return slices.Clip(slices.Clone(all))
}

// partition moves the count first elements by order to the front (quickselect
// with the middle as pivot, so that it needs no chance).
func partition(a []int32, count int, order func(a, b int32) int) {
	lo, hi := 0, len(a)-1
	for lo < hi {
		pivot := a[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for order(a[i], pivot) < 0 {
				i++
			}
			for order(a[j], pivot) > 0 {
				j--
			}
			if i <= j {
				a[i], a[j] = a[j], a[i]
				i++
				j--
			}
		}
		switch {
		case count-1 <= j:
			hi = j
		case count-1 >= i:
			lo = i
		default:
			return
		}
	}
}
