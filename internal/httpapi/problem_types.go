package httpapi

import (
	"net/http"

	"statorbook/internal/jsonin"
	"statorbook/internal/wire"
)

// The problem types. Slug, title and status never change once published; cause and fix are for people.
var (
	problemInvalid = problemType{
		slug: "invalid-request", title: "The request is not well formed", status: http.StatusBadRequest,
		cause:        "A name, a type, a number, a parameter or the JSON itself is not what the interface takes. Nothing was computed.",
		fix:          "Correct every entry of errors; each names the place by JSON pointer, parameter or header, and what is allowed there.",
		requestLine:  "GET /v1/wires?sytem=awg",
		exampleField: &ProblemField{Parameter: "sytem", Code: codeUnknownParameter, Detail: "There is no parameter sytem here. Did you mean system?", Got: "sytem"},
	}
	problemImpossible = problemType{
		slug: "impossible-input", title: "The input is understood but cannot be", status: http.StatusUnprocessableEntity,
		cause:        "The values are well formed, yet together they describe something impossible or something that can be read in two ways.",
		fix:          "Compare the named fields with the machine; measure again, or say which reading is meant.",
		requestLine:  "GET /v1/wires?size=12",
		exampleField: &ProblemField{Parameter: "size", Code: wire.CodeAmbiguousSize, Detail: "Size 12 is in swg (2.642 mm) and in awg (2.053 mm). Give system.", Got: "12"},
	}
	problemNotFound = problemType{
		slug: "not-found", title: "There is no such thing here", status: http.StatusNotFound,
		cause:        "The address is unknown, or no published record has this id.",
		fix:          "Check the id against the list it came from; GET / lists the addresses.",
		requestLine:  "GET /v1/wires/awg-99",
		exampleField: &ProblemField{Parameter: "id", Code: codeUnknownID, Detail: "There is no wire size awg-99.", Got: "awg-99"},
	}
	problemMethod = problemType{
		slug: "method-not-allowed", title: "This address does not take that method", status: http.StatusMethodNotAllowed,
		cause:       "The address exists, but not for this method.",
		fix:         "Use a method that the Allow header lists.",
		requestLine: "DELETE /v1/wires",
	}
	problemNotAcceptable = problemType{
		slug: "not-acceptable", title: "None of the accepted formats is offered", status: http.StatusNotAcceptable,
		cause:        "The Accept header rules out every format that this address offers.",
		fix:          "Accept one of the formats that the entry lists, or send no Accept header.",
		requestLine:  "GET /v1/meta with Accept: application/xml",
		exampleField: &ProblemField{Header: "Accept", Code: codeNotOffered, Detail: "This address offers application/json.", Allowed: []string{"application/json"}, Got: "application/xml"},
	}
	problemMediaType = problemType{
		slug: "unsupported-media-type", title: "The body has a type that is not taken", status: http.StatusUnsupportedMediaType,
		cause:        "The Content-Type or Content-Encoding of the body is missing or not taken here.",
		fix:          "Send application/json in UTF-8 without Content-Encoding.",
		requestLine:  "POST /v1/matches with Content-Type: text/plain",
		exampleField: &ProblemField{Header: "Content-Type", Code: codeBodyType, Detail: "Send the body as application/json.", Allowed: []string{"application/json"}, Got: "text/plain"},
	}
	problemTooLarge = problemType{
		slug: "too-large", title: "The request is over a limit", status: http.StatusRequestEntityTooLarge,
		cause:       "The body has too many bytes, or a list in it too many items.",
		fix:         "Send less at a time; GET /v1/meta lists the limits.",
		requestLine: "POST /v1/matches with 70,000 bytes",
	}
	problemUnauthenticated = problemType{
		slug: "unauthenticated", title: "A key is needed", status: http.StatusUnauthorized,
		cause:       "This address needs a key and none was sent, or the key that was sent is not valid: unknown, wrong, expired or revoked. Which of these it is, is not told.",
		fix:         "Send the key as it was shown, in the header Authorization: Bearer sbk_...; an expired key is replaced by the operator of the server (go run ./api key).",
		requestLine: "a write without a key",
	}
	problemForbidden = problemType{
		slug: "forbidden", title: "The key does not allow this", status: http.StatusForbidden,
		cause:       "The key is good but has no right to this act.",
		fix:         "Ask the steward of the institute for the right that the detail names.",
		requestLine: "a write with a key that may only read",
	}
	problemConflict = problemType{
		slug: "conflict", title: "The present state does not allow this", status: http.StatusConflict,
		cause:       "The record is in another state than the act needs, or the same request is still running.",
		fix:         "Read the record again and decide anew; a request that is still running may be asked again shortly.",
		requestLine: "a write on a record that has moved on",
	}
	problemPreconditionNeeded = problemType{
		slug: "precondition-required", title: "If-Match is needed", status: http.StatusPreconditionRequired,
		cause:        "A change of a shared record must name the version that it changes.",
		fix:          "Read the record, and send its ETag in If-Match.",
		requestLine:  "a write without If-Match",
		exampleField: &ProblemField{Header: "If-Match", Code: jsonin.CodeRequired, Detail: "Send the ETag of the version that you read."},
	}
	problemPreconditionFailed = problemType{
		slug: "precondition-failed", title: "The record has changed since it was read", status: http.StatusPreconditionFailed,
		cause:       "If-Match names a version that is no longer the present one.",
		fix:         "Read the record again, look at what changed, and decide anew.",
		requestLine: "a write with a stale If-Match",
	}
	problemRateLimited = problemType{
		slug: "too-many-requests", title: "Too many requests", status: http.StatusTooManyRequests, retryAfter: "1",
		cause:       "Requests came faster than the limit allows, too many keys that are not valid were tried, or an institute started as many drafts as it may within 24 hours.",
		fix:         "Wait for the seconds of Retry-After; use the batch addresses for long lists. RateLimit tells what is left before it comes to this.",
		requestLine: "a burst of requests",
	}
	problemUnavailable = problemType{
		slug: "unavailable", title: "The service cannot answer just now", status: http.StatusServiceUnavailable, retryAfter: "2",
		cause:       "The database cannot be reached, is full, answers too slowly, or the tables are still being loaded.",
		fix:         "Try again after the seconds of Retry-After. A write whose outcome is unknown is repeated with the same Idempotency-Key.",
		requestLine: "any request while the database is away",
	}
	problemInternal = problemType{
		slug: "internal", title: "The service failed", status: http.StatusInternalServerError,
		cause:       "A fault of ours. The answer says no more on purpose; the log does, under the request id.",
		fix:         "Report the request id.",
		requestLine: "none that we know of",
	}
)
