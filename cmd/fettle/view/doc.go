// Package view turns what the other packages found out into what people and programs read: text with the source line and a caret,
// JSON, and what else a command can print. It decides nothing; it imports the packages whose results it shows, and nothing imports
// it but the commands.
//
// Whatever comes out of a file or from a person goes through printable before it reaches a terminal.
package view
