package job

import "reflect"

// SameAsked reports whether two states of a job ask for the same: what was worked
// out for the one holds for the other. It is asked before something that took a
// while is recorded, since the job may have been changed meanwhile.
func SameAsked(a, b Job) bool {
	return a.File == b.File && a.Blob == b.Blob && a.Settings.Equal(b.Settings) && a.Patron == b.Patron && a.Auth == b.Auth &&
		reflect.DeepEqual(a.Wishes, b.Wishes)
}
