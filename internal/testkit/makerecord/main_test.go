package main

import (
	"bytes"
	"os"
	"testing"
)

// The record in testdata is what the command writes.
func TestRecord(t *testing.T) {
	want, err := os.ReadFile("../../../testdata/record/anna.csv")
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	if write(&got); !bytes.Equal(got.Bytes(), want) {
		t.Error("testdata/record/anna.csv is not what is written today: make pictures")
	}
}
