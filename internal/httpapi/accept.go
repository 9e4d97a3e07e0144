package httpapi

import (
	"mime"
	"strconv"
	"strings"

	"statorbook/internal/errs"
)

// negotiate picks from offers (media types, best first) the one that an Accept header wants most,
// by RFC 9110 section 12.5.1: the most specific range speaks for a type, the higher weight wins,
// the earlier offer breaks a tie. -1 means that none is acceptable.
func negotiate(accept string, offers []string) int {
	if accept == "" || accept == "*/*" || accept == offers[0] {
		return 0
	}
	best, bestWeight := -1, 0.0
	for i, offer := range offers {
		if w := weightOf(accept, offer); w > bestWeight {
			best, bestWeight = i, w
		}
	}
	return best
}

// weightOf gives the weight 0-1 that accept puts on one media type. A range that cannot be parsed is passed over.
func weightOf(accept, offer string) float64 {
	weight, specific := 0.0, -1
	for part := range strings.SplitSeq(accept, ",") {
		media, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		level := -1
		switch {
		case media == offer:
			level = 2
		case strings.HasSuffix(media, "/*") && strings.HasPrefix(offer, media[:len(media)-1]):
			level = 1
		case media == "*/*":
			level = 0
		}
		if level > specific {
			specific, weight = level, 1
			if q, ok := params["q"]; ok {
				weight, _ = strconv.ParseFloat(q, 64)
			}
		}
	}
	return weight
}

// notAcceptable refuses an Accept header that rules out all offers.
func notAcceptable(accept string, offers []string) error {
	return errs.New(errs.KindNotAcceptable, "", errs.Field{
		Header: "Accept", Code: codeNotOffered, Detail: "This address offers " + strings.Join(offers, ", ") + ".",
		Allowed: offers, Got: accept,
	})
}
