/**
 * Assembles src/simd/kernels.wat and writes the bytes as base64 into src/simd/kernels-bytes.ts: `node scripts/build-kernels.mjs`.
 * Needed only after a change of the text; a test compares the two.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import wabt from 'wabt';

const here = (name) => fileURLToPath(new URL(name, import.meta.url));

const text = readFileSync(here('../src/simd/kernels.wat'), 'utf8');
const module = (await wabt()).parseWat('kernels.wat', text, { simd: true });
module.validate({ simd: true });
const base64 = Buffer.from(module.toBinary({}).buffer).toString('base64');
const lines = base64.match(/.{1,90}/g).map((line) => `  '${line}'`);
writeFileSync(
  here('../src/simd/kernels-bytes.ts'),
  `/** The assembled kernels.wat, base64. Written by scripts/build-kernels.mjs: change the text, not this file. */
export const KERNEL_BYTES = [
${lines.join(',\n')},
].join('');
`,
);
