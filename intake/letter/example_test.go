package letter_test

import (
	"context"
	"fmt"
	"strings"

	"meshclerk/intake/letter"
)

const message = `From: Ana Ferreira <ana@example.org>
To: print@larkfield.example
Subject: A hook
Message-ID: <1@example.org>
MIME-Version: 1.0
Content-Type: multipart/mixed; boundary=b

--b
Content-Type: text/plain; charset=utf-8

Could you print this in blue, please?

> an older letter
--b
Content-Type: application/octet-stream; name=hook.stl
Content-Transfer-Encoding: base64

c29saWQgaG9vawogIGZhY2V0IG5vcm1hbCAwIDAgMQogICAgb3V0ZXIgbG9vcAo=
--b--
`

// A message becomes a letter: its sender, the writer's own words, what is
// attached, and what it is to the library.
func ExampleRead() {
	l, err := letter.Read(context.Background(), strings.NewReader(message), letter.Options{})
	if err != nil {
		panic(err)
	}
	fmt.Println("from:", l.From.Address)
	fmt.Println("is:", l.Disposition)
	fmt.Println("text:", l.Text)
	for _, a := range l.Attachments {
		fmt.Println("file:", a.Name, a.Kind)
	}
	// Output:
	// from: ana@example.org
	// is: request
	// text: Could you print this in blue, please?
	// file: hook.stl mesh
}

// Own separates the writer's words from the mail that they quote.
func ExampleOwn() {
	own := letter.Own("Yes please.\n\nOn Monday you wrote:\n> Shall we print it?\n")
	fmt.Printf("%q\n", own.Text)
	// Output: "Yes please."
}
