/** Header cards of real FITS files: against astropy (frozen) and, for simple cards, against fitsjs (run here). */
import { createHash } from 'node:crypto';
import { closeSync, openSync, readFileSync, statSync } from 'node:fs';
import fitsjs from 'fitsjs';
import { describe, expect, test, vi } from 'vitest';
import type { Card } from '../../src/frame/fits/cards.js';
import { readUnits, type Unit } from '../../src/frame/fits/hdu.js';
import { findData, fixture } from '../helpers/data-files.js';

interface FrozenHeader {
  file: string;
  hdu: number;
  /** Keyword → start of a digest of its first value. */
  cards: Record<string, string>;
}

const frozen: FrozenHeader[] = JSON.parse(
  readFileSync(fixture('reference/fits-headers.json'), 'utf8'),
).headers;

function unitsOf(path: string): Unit[] {
  const fd = openSync(path, 'r');
  try {
    return readUnits({ path, fd, size: statSync(path).size });
  } finally {
    closeSync(fd);
  }
}

/** The digest that fixtures/reference/fits.py makes of a value. */
function digest(value: Card['value']): string {
  let kind = 'undefined';
  let text = '';
  if (typeof value === 'number') {
    kind = 'number';
    text = bigEndian(value);
  } else if (typeof value === 'boolean') {
    kind = 'logical';
    text = value ? 'True' : 'False';
  } else if (typeof value === 'string') {
    kind = 'string';
    text = value;
  } else if (value !== null) {
    kind = 'complex';
    text = bigEndian(value.re) + bigEndian(value.im);
  }
  return createHash('sha256').update(`${kind}\t${text}`, 'latin1').digest('hex').slice(0, 12);
}

function bigEndian(value: number): string {
  const bytes = Buffer.alloc(8);
  bytes.writeDoubleBE(value);
  return bytes.toString('hex');
}

describe('card values equal astropy 5.2.1', () => {
  for (const { file, hdu, cards } of frozen) {
    const path = findData(file);
    test.skipIf(path === null)(`${file} unit ${hdu}`, () => {
      const unit = unitsOf(path as string)[hdu] as Unit;
      // The frozen values are those of the cards as stored: of a packed image, the table's.
      const header = unit.tableHeader ?? unit.header;
      const different: string[] = [];
      for (const [keyword, expected] of Object.entries(cards)) {
        const found = header.find(keyword);
        if (found === undefined || digest(found.value) !== expected) {
          different.push(`${keyword} = ${found?.text}`);
        }
      }
      expect(different).toEqual([]);
      const extra = header.cards.filter(
        (card) => card.kind === 'value' && !Object.hasOwn(cards, card.keyword),
      );
      expect(extra.map((card) => card.keyword)).toEqual([]);
    });
  }
});

const { Header } = fitsjs.astro.FITS;

/** What fitsjs is known to read rightly: integers, reals without D, logicals, strings without a quote or a slash. */
function isSimple(image: string): boolean {
  if (image[8] !== '=' || image.startsWith('HIERARCH') || image.startsWith(' ')) return false;
  const value = image.slice(10);
  return (
    /^ *[+-]?\d+ *(\/.*)?$/.test(value) ||
    /^ *[+-]?\d+\.\d*(E[+-]?\d+)? *(\/.*)?$/.test(value) ||
    /^ *[TF] *(\/ .*)?$/.test(value) ||
    /^'[^'/&]+' *(\/ .*)?$/.test(value)
  );
}

describe('simple cards equal fitsjs 0.6.6', () => {
  const files = [...new Set(frozen.map((header) => header.file))];
  for (const file of files) {
    const path = findData(file);
    test.skipIf(path === null)(file, () => {
      const [unit] = unitsOf(path as string) as [Unit];
      const text = readFileSync(path as string).toString('latin1', 0, unit.dataOffset);
      const images = (text.match(/.{80}/gs) ?? []).filter(isSimple);
      const unique = images.filter(
        (image, i) => images.findIndex((other) => other.slice(0, 8) === image.slice(0, 8)) === i,
      );
      vi.spyOn(console, 'warn').mockImplementation(() => {});
      const other = new Header(unique.join(''));
      for (const image of unique) {
        const keyword = image.slice(0, 8).trim();
        let expected = other.get(keyword);
        if (expected === 'T' || expected === 'F') expected = expected === 'T';
        if (typeof expected === 'string') expected = expected.trimEnd();
        // fitsjs makes a number of a numeric string; only unquoted values are compared as numbers.
        const found = unit.header.find(keyword)?.value;
        expect(typeof found === 'string' ? String(found).trim() : found, image).toEqual(
          typeof found === 'string' ? String(expected).trim() : expected,
        );
      }
      expect(unique.length).toBeGreaterThan(2);
    });
  }
});
