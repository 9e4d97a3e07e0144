package httpapi_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkPages asks every page of a server on a real database with the demo set, without a network.
func BenchmarkPages(b *testing.B) {
	s := openShop(b)
	for route, target := range pagesShown(s) {
		b.Run(route, func(b *testing.B) {
			size := 0
			for b.Loop() {
				a := s.Send(http.MethodGet, target, "", asBrowser)
				require.Equal(b, http.StatusOK, a.StatusCode)
				size = len(a.Text())
			}
			b.ReportMetric(float64(size), "bytes")
			b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(time.Millisecond), "ms/page")
		})
	}
}
