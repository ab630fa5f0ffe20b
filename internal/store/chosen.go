package store

import (
	"singback/calib"
)

// Chosen returns a singer's name as it is written in the folder, or without a name
// that of the one who is singing, or else DefaultName; there tells whether there
// is a profile.
func (s *Singers) Chosen(name string) (found string, there bool, err error) {
	if name == "" {
		if name, err = s.Current(); err != nil {
			return name, false, err
		}
		if name == "" || name == Nobody {
			name = DefaultName
		}
	}
	return s.Find(name)
}

// Settle writes a profile as Save does. A singer who was not there is then the one
// who is singing.
func (s *Singers) Settle(p calib.Profile) error {
	_, there, err := s.Find(p.Name)
	if err != nil {
		return err
	}
	if _, err := s.Save(p); err != nil || there {
		return err
	}
	return s.Use(p.Name)
}

// Adopt writes a profile that comes from elsewhere as Save does. Whoever was
// singing still is. It returns the name as it is written in the folder, and
// whether that singer was there.
func (s *Singers) Adopt(p calib.Profile) (name string, there, changed bool, err error) {
	if name, there, err = s.Find(p.Name); err != nil {
		return name, there, false, err
	}
	before, err := s.Current()
	if err != nil {
		return name, there, false, err
	}
	if changed, err = s.Save(p); err != nil {
		return name, there, false, err
	}
	if now, failed := s.Current(); failed == nil && before != "" && now != before {
		err = s.Use(before) // the only one was current without having been chosen
	}
	return name, there, changed, err
}
