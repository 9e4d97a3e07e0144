package httpapi

// The codes of errors[] that this package gives itself; those of bodies come from jsonin, those of
// wire sizes from wire. They are part of the interface: append only.
const (
	codeUnknownParameter = "UNKNOWN_PARAMETER"    // a query parameter that the address does not take
	codeRepeated         = "REPEATED_PARAMETER"   // a query parameter sent twice
	codeRepeatedItem     = "REPEATED_ITEM"        // a word twice in a list parameter
	codeEscape           = "BAD_ESCAPE"           // broken percent-encoding
	codeText             = "BAD_TEXT"             // bad UTF-8 or control characters in the query
	codeNumber           = "NOT_A_NUMBER"         // a parameter that should be a number
	codePageSize         = "BAD_PAGE_SIZE"        // page_size outside its range
	codePageToken        = "BAD_PAGE_TOKEN"       // a token of another list, or made up
	codeFeedMark         = "BAD_FEED_MARK"        // a place that the change feed never had
	codeUnknownID        = "UNKNOWN_ID"           // a path id that names nothing
	codeNotOffered       = "NOT_OFFERED"          // Accept rules out every format
	codeBodyType         = "UNSUPPORTED_TYPE"     // Content-Type is not taken
	codeBodyCoding       = "UNSUPPORTED_ENCODING" // Content-Encoding is not taken
	codeWindow           = "EMPTY_WINDOW"         // a minimum above its maximum
	codeNotHere          = "NOT_WITH_THIS_FORMAT" // a parameter that the chosen format does not take
)
