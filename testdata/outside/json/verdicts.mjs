// Prints what ajv, in its 2020-12 mode and strict, says of every file in good/ and bad/, held against the published schema of its
// kind: "good" or "bad". A file that is no JSON, or of no kind that has a schema, is bad.
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import Ajv2020 from "ajv/dist/2020.js";

const [files, schemas] = process.argv.slice(2);
const ajv = new Ajv2020({ strict: true, allowUnionTypes: true });
const validators = new Map();
for (const name of readdirSync(schemas)) {
  validators.set(name.replace(/\.json$/, ""), ajv.compile(JSON.parse(readFileSync(join(schemas, name), "utf8"))));
}

function verdict(text) {
  let value;
  try {
    value = JSON.parse(text);
  } catch {
    return "bad";
  }
  const validate = validators.get(value?.kind);
  return validate?.(value) ? "good" : "bad";
}

for (const folder of ["good", "bad"]) {
  for (const name of readdirSync(join(files, folder)).sort()) {
    console.log(`${folder}/${name}\t${verdict(readFileSync(join(files, folder, name), "utf8"))}`);
  }
}
