/** Half-precision floats (IEEE 754 binary16): 1 bit of sign, 5 of exponent (bias 15), 10 of fraction. */

/** All 65,536 values, made when first needed. */
let table: Float32Array | null = null;

/** The values of `halves` as 32-bit floats; exact, infinities and NaN included. */
export function halvesToFloats(halves: Uint16Array): Float32Array {
  table ??= makeTable();
  const out = new Float32Array(halves.length);
  for (let i = 0; i < halves.length; i++) out[i] = table[halves[i] as number] as number;
  return out;
}

function makeTable(): Float32Array {
  const values = new Float32Array(65536);
  for (let bits = 0; bits < 65536; bits++) {
    const exponent = (bits >> 10) & 31;
    const fraction = bits & 1023;
    let size = (1 + fraction / 1024) * 2 ** (exponent - 15);
    if (exponent === 0) size = (fraction / 1024) * 2 ** -14;
    else if (exponent === 31) size = fraction === 0 ? Number.POSITIVE_INFINITY : Number.NaN;
    values[bits] = bits < 32768 ? size : -size;
  }
  return values;
}
