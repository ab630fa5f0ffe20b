package store

import (
	"fmt"
	"reflect"
	"strings"

	"singback/internal/kept"
)

var insertAnswer = fmt.Sprintf("INSERT OR IGNORE INTO answers (session_id, %s, checksum) VALUES (?%s, ?)",
	strings.Join(kept.Columns[kept.SessionColumns:], ", "), strings.Repeat(", ?", len(kept.Columns)-kept.SessionColumns))

// inserted are the values of insertAnswer for a row whose session is at id.
func inserted(id int64, r *kept.Row) []any {
	return append(append([]any{id}, values(r)[kept.SessionColumns:]...), int64(r.Checksum()))
}

// setColumn sets a field of a row from what the database has; false if it is of
// another kind.
func setColumn(field, value any) bool {
	ok := true
	switch p := field.(type) {
	case *string:
		*p, ok = value.(string)
	case **string:
		ok = setPointer(p, value)
	case *int64:
		*p, ok = value.(int64)
	case **int64:
		ok = setPointer(p, value)
	case *float64:
		*p, ok = value.(float64)
	case **float64:
		ok = setPointer(p, value)
	case *bool:
		*p, ok = truthOf(value)
	case **bool:
		if value == nil {
			*p = nil
		} else {
			*p = new(bool)
			**p, ok = truthOf(value)
		}
	}
	return ok
}

// setPointer sets what a field points to, or makes it null.
func setPointer[T any](p **T, value any) bool {
	if value == nil {
		*p = nil
		return true
	}
	if *p == nil {
		*p = new(T)
	}
	var ok bool
	**p, ok = value.(T)
	return ok
}

func truthOf(value any) (truth, ok bool) {
	n, ok := value.(int64)
	return n == 1, ok && (n == 0 || n == 1)
}

// values returns the fields of a row for the database.
func values(r *kept.Row) []any {
	out := r.Fields()
	for i, p := range out {
		out[i] = reflect.ValueOf(p).Elem().Interface()
	}
	return out
}
