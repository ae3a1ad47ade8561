/** Puts a benchmark's tables into docs/benchmarks.md, between the marks of its part. */
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const PATH = fileURLToPath(new URL('../../docs/benchmarks.md', import.meta.url));

export function saveTables(
  part: 'accuracy' | 'speed' | 'field' | 'illumination' | 'match' | 'night' | 'compare' | 'circle',
  text: string,
): void {
  const open = `<!-- ${part}: written by npm run bench:${part} -- --save -->`;
  const close = `<!-- end of ${part} -->`;
  const before = readFileSync(PATH, 'utf8');
  const from = before.indexOf(open);
  const to = before.indexOf(close);
  if (from < 0 || to < from) throw new Error(`${PATH} has no marks for ${part}`);
  writeFileSync(PATH, `${before.slice(0, from)}${open}\n\n${text.trim()}\n\n${before.slice(to)}`);
}
