package postgres

// The statements that the tests explain.
const (
	FamilyByRef  = familyByRef
	FamilyList   = familyList
	WindingByRef = windingByRef
	WindingList  = windingList
)
