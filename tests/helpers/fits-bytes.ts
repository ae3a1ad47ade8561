/** FITS files put together card by card, right or wrong, without the writer that is itself under test. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll } from 'vitest';

/** A header of these card images (each filled to 80), END and blank fill to a multiple of 2880 (§3.3.1). */
export function headerBytes(cards: readonly string[], end = true): Buffer {
  const lines = end ? [...cards, 'END'] : cards;
  const text = lines.map((card) => card.padEnd(80)).join('');
  return Buffer.from(text.padEnd(Math.ceil(text.length / 2880) * 2880), 'latin1');
}

/** Header and data, the data filled with zeros to a multiple of 2880 (§3.3.2). */
export function unitBytes(cards: readonly string[], data: Uint8Array = new Uint8Array(0)): Buffer {
  const fill = Buffer.alloc(Math.ceil(data.length / 2880) * 2880 - data.length);
  return Buffer.concat([headerBytes(cards), data, fill]);
}

/** The mandatory cards of a primary array (§4.4.1.1). */
export function primaryCards(bitpix: number, axes: readonly number[]): string[] {
  return ['SIMPLE  =                    T', ...sizeCards(bitpix, axes)];
}

/** The mandatory cards of an IMAGE extension (§7.1.1). */
export function imageCards(bitpix: number, axes: readonly number[]): string[] {
  const sizes = sizeCards(bitpix, axes);
  return ["XTENSION= 'IMAGE   '", ...sizes, card('PCOUNT', '0'), card('GCOUNT', '1')];
}

function sizeCards(bitpix: number, axes: readonly number[]): string[] {
  const lengths = axes.map((length, i) => card(`NAXIS${i + 1}`, String(length)));
  return [card('BITPIX', String(bitpix)), card('NAXIS', String(axes.length)), ...lengths];
}

/** A fixed-format card: the value right-justified in columns 11–30. */
export function card(keyword: string, value: string): string {
  return `${keyword.padEnd(8)}= ${value.padStart(20)}`;
}

/** A folder for the files of one test file, removed afterwards; the function writes a file into it and gives its path. */
export function temporaryFiles(): (name: string, bytes: Uint8Array) => string {
  const folder = mkdtempSync(join(tmpdir(), 'frames-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return (name, bytes) => {
    const path = join(folder, name);
    writeFileSync(path, bytes);
    return path;
  };
}
