// Package store keeps what is known of singers on disk. It chooses neither the
// folder nor the time: both are given.
package store
