/** Opening a FITS file as a frame: choice of the unit, samples, metadata, mosaic. */
import { FrameReadError, UnsupportedFormatError } from '../../errors.js';
import type { Warning } from '../../warnings.js';
import { assembleFrame } from '../assemble.js';
import type { OpenFile } from '../file.js';
import type { Frame, FrameOverrides } from '../frame.js';
import type { Keyword, KeywordSource } from '../keywords.js';
import { quoteValue } from '../keywords.js';
import { checkLimits } from '../limits.js';
import { describeUnit, imageShape, readUnits, type Unit } from './hdu.js';
import { createFitsRows, typeMaximum } from './samples.js';
import { createTileRows } from './tiles/tile-rows.js';

const SUPPORTED = 'FITS images (primary, IMAGE extension or tile-compressed)';

/** True for the first bytes of a FITS file (§4.4.1.1: the first card is SIMPLE). */
export function recognisesFits(head: Uint8Array): boolean {
  return Buffer.from(head.subarray(0, 9)).toString('latin1') === 'SIMPLE  =';
}

/**
 * Opens the FITS file as a frame; the frame owns the file afterwards and closes it.
 * @throws FrameReadError, UnsupportedFormatError: see their messages; the file is then still open.
 */
export function openFits(file: OpenFile, overrides: FrameOverrides): Frame {
  const warnings: Warning[] = [];
  const warn = (code: string, message: string) => {
    warnings.push({ code, message, file: file.path });
  };
  const units = readUnits(file);
  const unit = chooseUnit(file, units, overrides.hdu, warn);
  if (units[0]?.header.find('SIMPLE')?.value !== true) {
    warn(
      'not-standard',
      'the header says that the file does not follow the FITS standard (SIMPLE is not T); it is read as if it did',
    );
  }
  const shape = imageShape(file, unit);
  if (shape.ignoredPlanes > 0) {
    warn(
      'extra-planes',
      `unit ${unit.index} is a cube of ${shape.ignoredPlanes + 1} planes, not 3 (R, G, B); only its first plane is measured`,
    );
  }
  checkLimits(file.path, shape.width, shape.height, 0, overrides);
  const keywords = inheritedKeywords(unit, units[0] as Unit);
  const scaling = readScaling(file, unit, warn);
  const { bitpix, axes, dataOffset, tableHeader } = unit;
  const rows =
    tableHeader === null
      ? createFitsRows(file, { ...shape, ...scaling, bitpix, dataOffset })
      : createTileRows(
          file,
          { ...shape, ...scaling, bitpix, axes, unit: { ...unit, header: tableHeader } },
          overrides,
        );
  return assembleFrame({
    path: file.path,
    format: 'fits',
    probablyProcessed: false,
    rows,
    typeMaximumAdu: typeMaximum(unit.bitpix, scaling.bscale, scaling.bzero),
    keywords,
    overrides,
    warnings,
  });
}

type Warn = (code: string, message: string) => void;

function chooseUnit(file: OpenFile, units: Unit[], hdu: number | undefined, warn: Warn): Unit {
  if (hdu !== undefined) return requestedUnit(file, units, hdu);
  const found = units.find((unit) => unit.kind === 'image' || unit.kind === 'damaged');
  const list = units.map(describeUnit).slice(0, 20).join('; ');
  if (found === undefined) {
    if (units.some((unit) => unit.kind === 'groups')) {
      throw new UnsupportedFormatError(
        file.path,
        'a random-groups file (interferometer data)',
        SUPPORTED,
        'make an image from it first',
      );
    }
    const map = units.find((unit) => unit.kind === 'map');
    throw new FrameReadError(
      'no-image',
      file.path,
      `no two-dimensional image in this file (${list})`,
      map === undefined
        ? 'give a frame that holds an image'
        : `to measure a weight or mask map all the same, choose it with --hdu ${map.index}`,
    );
  }
  if (found.fault !== null) throw found.fault;
  const passedOver = units.filter(
    (unit) =>
      unit.kind === 'map' ||
      unit.kind === 'line' ||
      (unit.index < found.index && unit.kind !== 'empty' && unit.kind !== 'image'),
  );
  if (passedOver.length > 0) {
    warn(
      'units-passed-over',
      `passed over ${passedOver.map(describeUnit).join('; ')}; measured is ${describeUnit(found)}`,
    );
  }
  const others = units.filter((unit) => unit !== found && unit.kind === 'image');
  if (others.length > 0) {
    warn(
      'several-images',
      `the file holds ${others.length + 1} images; measured is ${describeUnit(found)}; choose another with --hdu (${others.map((unit) => unit.index).join(', ')})`,
    );
  }
  return found;
}

function requestedUnit(file: OpenFile, units: Unit[], hdu: number): Unit {
  const unit = units[hdu];
  if (unit === undefined) {
    throw new FrameReadError(
      'no-such-hdu',
      file.path,
      `there is no unit ${hdu}; the file has ${units.length}, counted from 0`,
      `choose --hdu from 0 to ${units.length - 1}`,
    );
  }
  if (unit.fault !== null) throw unit.fault;
  const narrow = unit.kind === 'line' && unit.axes.length > 1;
  if (unit.kind !== 'image' && unit.kind !== 'map' && !narrow) {
    const images = units.filter((u) => u.kind === 'image').map((u) => u.index);
    throw new FrameReadError(
      'no-image',
      file.path,
      `the chosen ${describeUnit(unit)} is not a two-dimensional image`,
      images.length > 0
        ? `choose --hdu ${images.join(' or ')}`
        : 'give a frame that holds an image',
    );
  }
  return unit;
}

/** Cards of the image's own header, then those of a primary header without data, unless INHERIT says no (registered convention). */
function inheritedKeywords(unit: Unit, primary: Unit): KeywordSource {
  const inherits =
    unit !== primary && primary.kind === 'empty' && unit.header.find('INHERIT')?.value !== false;
  if (!inherits) return unit.header;
  return { find: (name) => unit.header.find(name) ?? primary.header.find(name) };
}

interface Scaling {
  bscale: number;
  bzero: number;
  blank: number | null;
}

/** BSCALE, BZERO and BLANK belong to the unit itself and are never inherited. */
function readScaling(file: OpenFile, unit: Unit, warn: Warn): Scaling {
  const bscale = scalingNumber(file, unit, 'BSCALE', 1, warn);
  const bzero = scalingNumber(file, unit, 'BZERO', 0, warn);
  if (bscale === 0) {
    throw new FrameReadError(
      'bad-header',
      file.path,
      `BSCALE is 0 in the header of unit ${unit.index}: every pixel would have the same value`,
      'correct BSCALE, or save the frame again',
    );
  }
  const card = unit.header.find('BLANK');
  if (card === undefined) return { bscale, bzero, blank: null };
  if (unit.bitpix < 0) {
    warn('blank-ignored', 'BLANK is ignored: it has no meaning for floating-point samples');
    return { bscale, bzero, blank: null };
  }
  const limit = 2 ** (unit.bitpix - 1);
  const [low, high] = unit.bitpix === 8 ? [0, 255] : [-limit, limit - 1];
  const value = card.value;
  if (typeof value !== 'number' || !Number.isInteger(value) || value < low || value > high) {
    warn('blank-ignored', `BLANK = ${quoteValue(card)} is ignored: no such stored value exists`);
    return { bscale, bzero, blank: null };
  }
  return { bscale, bzero, blank: value };
}

function scalingNumber(
  file: OpenFile,
  unit: Unit,
  name: string,
  fallback: number,
  warn: Warn,
): number {
  const card = unit.header.find(name);
  if (card === undefined) return fallback;
  const value = typeof card.value === 'string' ? Number(card.value) : card.value;
  if (typeof value !== 'number' || !Number.isFinite(value) || card.text === '') {
    throw new FrameReadError(
      'bad-header',
      file.path,
      `${name} is ${quoteValue(card)} in the header of unit ${unit.index}, not a number`,
      `correct ${name}, or save the frame again`,
    );
  }
  warnAboutCard(card, warn);
  return value;
}

function warnAboutCard(card: Keyword, warn: Warn): void {
  if (card.problem === 'decimal-comma') {
    warn(
      'decimal-comma',
      `${card.name} = ${quoteValue(card)} has a decimal comma; read as ${card.value}`,
    );
  }
  if (card.conflicting) {
    warn(
      'duplicate-keyword',
      `${card.name} is given several times with different values; the first, ${quoteValue(card)}, is used`,
    );
  }
}
