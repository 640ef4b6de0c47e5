// Asks a server on this machine, or the one that is named, what may be wrong with a heater. Prints it, dangers first.
//
// In a folder of your own, with the path to this file, which reads the schema beside it:
//
//     npm install @grpc/grpc-js @grpc/proto-loader
//     node …/proto/ask.mjs 127.0.0.1:7430
import { fileURLToPath } from "node:url";
import { createRequire } from "node:module";

const require = createRequire(process.cwd() + "/"); // the two packages are found from where it is run
const grpc = require("@grpc/grpc-js");
const { loadSync } = require("@grpc/proto-loader");

const schema = loadSync("lightoff/v1/diagnosis.proto", {
  includeDirs: [fileURLToPath(new URL(".", import.meta.url))],
  enums: String,
  longs: Number,
  defaults: true,
});
const { DiagnosisService } = grpc.loadPackageDefinition(schema).lightoff.v1;
const address = process.argv[2] ?? "127.0.0.1:7430";
const service = new DiagnosisService(address, grpc.credentials.createInsecure());

const request = {
  observations: [
    { id: "fault_code", state: "E-08" },
    { id: "line_type", state: "soft" },
    { id: "bubbles", state: "many" },
  ],
  locale: "en",
};

service.Assess(request, { deadline: Date.now() + 10_000 }, (error, answer) => {
  service.close();
  if (error) {
    console.error(grpc.status[error.code], error.details); // what a program should go by is in google.rpc.ErrorInfo
    process.exitCode = 1;
    return;
  }
  for (const danger of answer.dangers) {
    console.log(`DANGER ${danger.text}`);
    for (const step of danger.steps) {
      console.log(`  ${step}`);
    }
  }
  for (const cause of answer.causes.slice(0, 3)) {
    console.log(`${Math.round(100 * cause.probability)} % ${cause.title}`);
  }
});
