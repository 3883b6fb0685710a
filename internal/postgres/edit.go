package postgres

import (
	"context"
	"fmt"
	"reflect"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/fault"
)

// checkVersion compares the version that an edit names with the one that is
// there. Zero is fault.NeedsVersion "version-needed", another one fault.Stale "stale".
func checkVersion(thing string, have, want int) error {
	switch {
	case want == 0:
		return fault.New(fault.NeedsVersion, "version-needed", "say which version of the %s this changes; open it again and change it there", thing)
	case want != have:
		return fault.New(fault.Stale, "stale",
			"somebody changed the %s in between: it is at version %d, this changes version %d; look at both and save again", thing, have, want)
	}
	return nil
}

// changed runs change on a copy of have that shares nothing with it, and says
// whether anything differs.
func changed[T any](have T, change func(*T) error) (T, bool, error) {
	after := apart(reflect.ValueOf(have)).Interface().(T)
	if err := change(&after); err != nil {
		return have, false, err
	}
	return after, !reflect.DeepEqual(have, after), nil
}

// apart copies a record with its slices and pointers. Locations are shared:
// nobody changes one in place.
func apart(v reflect.Value) reflect.Value {
	switch {
	case v.Kind() == reflect.Pointer && !v.IsNil() && v.Type() != reflect.TypeFor[*time.Location]():
		to := reflect.New(v.Type().Elem())
		to.Elem().Set(apart(v.Elem()))
		return to
	case v.Kind() == reflect.Slice && !v.IsNil():
		to := reflect.MakeSlice(v.Type(), v.Len(), v.Len())
		for i := range v.Len() {
			to.Index(i).Set(apart(v.Index(i)))
		}
		return to
	case v.Kind() == reflect.Struct:
		to := reflect.New(v.Type()).Elem()
		to.Set(v)
		for i := range v.NumField() {
			if to.Field(i).CanSet() {
				to.Field(i).Set(apart(v.Field(i)))
			}
		}
		return to
	}
	return v
}

// newID fills an id that the caller left open.
func newID(id *uuid.UUID) error {
	if *id != uuid.Nil {
		return nil
	}
	made, err := uuid.NewV7()
	if err != nil {
		return fmt.Errorf("make id: %w", err)
	}
	*id = made
	return nil
}

// refreshWindows asks for the due windows of one property, or of all with uuid.Nil.
func refreshWindows(ctx context.Context, tx *sqlx.Tx, propertyID uuid.UUID) error {
	return addJob(ctx, tx, JobRefreshWindows, RefreshWindows{PropertyID: propertyID}, time.Time{})
}
