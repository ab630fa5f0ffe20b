// Command singback asks for a degree of a key, listens, and says to the cent
// what was sung.
package main

import (
	"os"

	"singback/internal/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
