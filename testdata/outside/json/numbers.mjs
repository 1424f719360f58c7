// Writes canonical/numbers.json: doubles that are hard to write, and a thousand others drawn by a fixed rule, each as it comes out
// shortest, with 17 and with more digits, with and without an exponent. The named ones are those of RFC 8785, appendix B.
const bits = new DataView(new ArrayBuffer(8));
const hard = ["0000000000000000", "8000000000000000", "0000000000000001", "8000000000000001", "7fefffffffffffff", "ffefffffffffffff",
  "4340000000000000", "c340000000000000", "4430000000000000", "44b52d02c7e14af5", "44b52d02c7e14af6", "44b52d02c7e14af7", "444b1ae4d6e2ef4e",
  "444b1ae4d6e2ef4f", "444b1ae4d6e2ef50", "3eb0c6f7a0b5ed8c", "3eb0c6f7a0b5ed8d", "41b3de4355555553", "41b3de4355555554", "41b3de4355555555",
  "41b3de4355555556", "41b3de4355555557", "becbf647612f3696", "43143ff3c1cb0959"];
const numbers = hard.map((hex) => (bits.setBigUint64(0, BigInt("0x" + hex)), bits.getFloat64(0)));
let state = 0x9e3779b97f4a7c15n;
while (numbers.length < 1024) { // xorshift64
  state ^= (state << 13n) & 0xffffffffffffffffn;
  state ^= state >> 7n;
  state ^= (state << 17n) & 0xffffffffffffffffn;
  bits.setBigUint64(0, state);
  const any = bits.getFloat64(0);
  if (Number.isFinite(any)) numbers.push(any);
  numbers.push(Number((Number(state % 1000000000n) / 10 ** Number(state % 17n)).toPrecision(1 + Number(state % 15n))));
}
const spellings = numbers.flatMap((n) => [Object.is(n, -0) ? "-0" : String(n), n.toExponential(16), n.toPrecision(25).replace("e", "E")]);
const texts = [...spellings, "1.0", "1.50", "100e-2", "0.1e1", "1E+2", "-0.0", "-0e5", "9007199254740993", "123456789012345678901234567890", "1e-400"];
console.log("[\n" + texts.map((text) => "  " + text).join(",\n") + "\n]");
