// Command server runs the diagnosis service: gRPC for programs, pages for people. Other commands of the same program
// assess a heater without a server and check the model. "go run ./server help" lists them.
//
// Program is the service as a value: main and the tests start the same one.
package main
