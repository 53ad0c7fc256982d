// Package sheet is what goes to the printer: the part as it is laid on the bed,
// mended, scaled and turned, and the sheet of paper beside it that says for whom
// it is and how it is printed.
package sheet
