/** The documentation repeats the schema and the registries; `UPDATE_DOCS=1 npx vitest run tests/unit/docs.test.ts` rewrites it. */
import { readFileSync, writeFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { jsonSchemaOf } from '../../src/report/schema.js';
import { catalogueTables, schemaTables } from '../helpers/schema-tables.js';

const FILE = new URL('../../docs/output-format.md', import.meta.url);

test.each([
  ['measure', () => schemaTables(jsonSchemaOf('measure') as Parameters<typeof schemaTables>[0])],
  ['field', () => schemaTables(jsonSchemaOf('field') as Parameters<typeof schemaTables>[0])],
  ['compare', () => schemaTables(jsonSchemaOf('compare') as Parameters<typeof schemaTables>[0])],
  ['grade', () => schemaTables(jsonSchemaOf('grade') as Parameters<typeof schemaTables>[0])],
  ['expect', () => schemaTables(jsonSchemaOf('expect') as Parameters<typeof schemaTables>[0])],
  ['sweep', () => schemaTables(jsonSchemaOf('sweep') as Parameters<typeof schemaTables>[0])],
  ['stars', catalogueTables],
])('docs/output-format.md holds the current table "%s"', (name, make) => {
  const text = readFileSync(FILE, 'utf8');
  const [open, close] = [`<!-- begin ${name} -->`, `<!-- end ${name} -->`];
  const from = text.indexOf(open) + open.length;
  const to = text.indexOf(close);
  expect(from).toBeGreaterThanOrEqual(open.length);
  expect(to).toBeGreaterThan(from);
  const wanted = `\n\n${make()}\n\n`;
  if (process.env.UPDATE_DOCS === '1') {
    writeFileSync(FILE, text.slice(0, from) + wanted + text.slice(to));
    return;
  }
  expect(text.slice(from, to)).toBe(wanted);
});
