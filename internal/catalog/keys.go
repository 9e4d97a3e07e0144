package catalog

import "time"

// MaxKeyDays is the longest life of a key, in days.
const MaxKeyDays = 400

// Key is a key of a person, without its secret. A time that did not come is zero.
type Key struct {
	ID         string // 12 characters of a-z and 0-9; public
	Actor      Actor
	CreatedAt  time.Time
	ExpiresAt  time.Time // at most MaxKeyDays after CreatedAt
	RevokedAt  time.Time
	LastUsedAt time.Time // to the minute
}

// Expired reports a key that came to its end unrevoked.
func (k Key) Expired(now time.Time) bool {
	return !now.Before(k.ExpiresAt) && (k.RevokedAt.IsZero() || !k.RevokedAt.Before(k.ExpiresAt))
}

// Live reports a key that opens something at the time now.
func (k Key) Live(now time.Time) bool { return k.RevokedAt.IsZero() && now.Before(k.ExpiresAt) }

// SigningKey is the public half of an institute's key for signing statements. A retired key still
// proves what it signed.
type SigningKey struct {
	Verifier  string // NAME+HASH+KEY of the note format; NAME is the slug of the institute, or that, a slash and a label
	CreatedAt time.Time
	RetiredAt time.Time // zero: in use
}

// Signatory is an institute with the keys that it signs with, the one in use first.
type Signatory struct {
	Institute
	Own  bool // an institute of this server; else one whose key a steward accepted
	Keys []SigningKey
}

// KeyInUse gives the key that signs now, if there is one.
func (s Signatory) KeyInUse() (SigningKey, bool) {
	for _, k := range s.Keys {
		if k.RetiredAt.IsZero() {
			return k, true
		}
	}
	return SigningKey{}, false
}
