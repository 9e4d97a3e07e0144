package bundle

// convert maps a list; nil stays nil.
func convert[A, B any](list []A, f func(A) B) []B {
	if list == nil {
		return nil
	}
	out := make([]B, len(list))
	for i, a := range list {
		out[i] = f(a)
	}
	return out
}

// filled turns nil into an empty list, so that JSON shows [] and not null.
func filled[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
