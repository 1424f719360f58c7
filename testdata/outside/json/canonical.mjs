// Prints the SHA-256 of what the package canonicalize (RFC 8785) makes of every file in good/ and canonical/.
import { createHash } from "node:crypto";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import canonicalize from "canonicalize";

const [files] = process.argv.slice(2);
for (const folder of ["canonical", "good"]) {
  for (const name of readdirSync(join(files, folder)).sort()) {
    const text = canonicalize(JSON.parse(readFileSync(join(files, folder, name), "utf8")));
    console.log(`${folder}/${name}\t${createHash("sha256").update(text, "utf8").digest("hex")}`);
  }
}
