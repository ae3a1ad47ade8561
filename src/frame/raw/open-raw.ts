/** Opening a camera raw file as a frame: the visible area of the mosaic, as the sensor's converter delivered it. */
import { FrameReadError, UnsupportedFormatError } from '../../errors.js';
import type { Warning } from '../../warnings.js';
import { assembleFrame } from '../assemble.js';
import { closeFile, type OpenFile, readFully } from '../file.js';
import type { CfaPattern, Frame, FrameOverrides } from '../frame.js';
import { checkLimits, checkUnpackedBytes } from '../limits.js';
import { createMemoryRows } from '../memory-rows.js';
import { type DecodedRaw, decodeRaw } from './decoder.js';
import {
  type Area,
  blackOfMargin,
  blackOfTags,
  pixelNoise,
  type RawArea,
  type SiteLevels,
} from './levels.js';
import type { RawMetadata } from './libraw-module.js';
import { type Mosaic, mosaicOfDecoder, shiftPattern } from './mosaic.js';
import { rawKeywords } from './raw-keywords.js';
import { type ExposureTags, positive, type RawTags, wallClock } from './raw-tags.js';
import { describeRaw } from './recognise.js';

const SUPPORTED = 'camera raw files with a 2 x 2 mosaic of red, green and blue, and without one';
const BYTES_PER_SAMPLE = 2;

type Warn = (code: string, message: string) => void;

/**
 * Opens the camera raw file as a frame. Reads it as a whole and closes it.
 * @throws FrameReadError, UnsupportedFormatError: see their messages; the file is then still open
 */
export async function openRaw(file: OpenFile, overrides: FrameOverrides): Promise<Frame> {
  const { path } = file;
  const warnings: Warning[] = [];
  const described = describeRaw(file);
  checkUnpackedBytes(path, file.size, overrides);
  const bytes = new Uint8Array(file.size);
  readFully(file, bytes, 0, file.size, 0);

  let tags: RawTags | null = null;
  const decoded = await decodeRaw(path, bytes, (metadata) => {
    const { raw_width: width, raw_height: height } = metadata;
    tags = described.images.find((i) => i.width === width && i.height === height) ?? null;
    if (tags === null && described.images.length > 0) {
      throw new FrameReadError(
        'damaged',
        path,
        `the camera raw decoder sees a raw image of ${width} × ${height} pixels where the directories describe none`,
        'copy it from the camera again, or save the frame as FITS',
      );
    }
    refuseUnread(path, metadata, tags);
    checkLimits(path, width, height, width * height * BYTES_PER_SAMPLE, overrides);
  });
  if (decoded.samples.length < decoded.width * decoded.height) {
    throw new FrameReadError(
      'damaged',
      path,
      'the camera raw decoder delivered fewer samples than the file announces',
      'copy it from the camera again',
    );
  }
  const frame = assemble(path, decoded, tags, described.exposure, overrides, warnings);
  closeFile(file);
  return frame;
}

/** Refuses what is no single plane of samples under a 2 × 2 mosaic or none. */
function refuseUnread(path: string, metadata: RawMetadata, tags: RawTags | null): void {
  const refuse = (found: string, remedy: string) => {
    throw new UnsupportedFormatError(path, found, SUPPORTED, remedy);
  };
  if (tags?.refusal) refuse(tags.refusal.found, tags.refusal.remedy);
  const mosaic = mosaicOf(metadata, tags);
  if (mosaic.kind === 'other') {
    refuse(
      `a camera raw file with a mosaic ${mosaic.description}`,
      'give frames of a camera with a 2 x 2 mosaic or of a mono camera; another program can demosaic this one, which changes star images',
    );
  }
  if (metadata.is_foveon > 0 || (metadata.filters === 0 && metadata.colors !== 1)) {
    refuse(
      'a camera raw file of full-colour pixels (three layers, or reduced in size by the camera)',
      'record at full size, or save the frame as 16-bit TIFF',
    );
  }
  const { raw_width, raw_height, left_margin, top_margin, width, height } = metadata;
  const fits = left_margin + width <= raw_width && top_margin + height <= raw_height;
  if (!fits || width < 1 || height < 1) {
    refuse(
      'a camera raw file whose picture is no upright part of the sensor',
      'give a frame of a camera with an upright 2 x 2 mosaic',
    );
  }
}

function mosaicOf(metadata: RawMetadata, tags: RawTags | null): Mosaic {
  return tags?.mosaic ?? mosaicOfDecoder(metadata.filters, metadata.cdesc);
}

function assemble(
  path: string,
  { metadata, width, height, samples }: DecodedRaw,
  tags: RawTags | null,
  exposure: ExposureTags | null,
  overrides: FrameOverrides,
  warnings: Warning[],
): Frame {
  const warn: Warn = (code, message) => {
    warnings.push({ code, message, file: path });
  };
  const raw: RawArea = { samples, width, height };
  const visible = visibleArea(metadata, tags);
  const { left, top, right, bottom } = visible;
  const pattern = choosePattern(metadata, tags, visible, warn);
  const pedestalAdu = choosePedestal(raw, visible, metadata, tags, warn);
  if (tags?.hasOpcodes) {
    warn(
      'corrections-left-out',
      'the file holds instructions to correct its samples (DNG opcodes); they are not carried out: the samples are measured as they were recorded',
    );
  }
  if (metadata.raw_count > 1) {
    warn(
      'several-images',
      `the file holds ${metadata.raw_count} raw images; the first is measured`,
    );
  }
  const keywords = rawKeywords(
    {
      pattern,
      pedestalAdu,
      saturationAdu: chooseSaturation(pedestalAdu, metadata, tags),
      make: metadata.camera_make,
      model: metadata.camera_model,
      exposure: exposure ?? exposureOfDecoder(metadata),
    },
    overrides,
    warn,
  );
  const rows = createMemoryRows({
    width: right - left,
    height: bottom - top,
    planes: 1,
    sampleType: 'u16',
    samples: cropInPlace(raw, visible),
    interleave: 'plane',
  });
  return assembleFrame({
    path,
    format: 'raw',
    probablyProcessed: false,
    rows,
    typeMaximumAdu: 65535,
    keywords,
    overrides,
    warnings,
  });
}

/** The exposure as the decoder found it, for files without an Exif directory that is known here. */
function exposureOfDecoder(metadata: RawMetadata): ExposureTags {
  return {
    exposureSeconds: positive(metadata.shutter),
    focalLengthMm: positive(metadata.focal_len),
    fNumber: positive(metadata.aperture),
    isoSpeed: positive(metadata.iso_speed),
    date: wallClock(metadata.timestamp),
  };
}

/** The active area; a DNG without that tag is active as a whole (its specification). */
function visibleArea(metadata: RawMetadata, tags: RawTags | null): Area {
  if (tags !== null) {
    const whole = { left: 0, top: 0, right: metadata.raw_width, bottom: metadata.raw_height };
    return tags.activeArea ?? whole;
  }
  const { left_margin: left, top_margin: top, width, height } = metadata;
  return { left, top, right: left + width, bottom: top + height };
}

/** The mosaic order from the first visible pixel on; null for a mono frame. */
function choosePattern(
  metadata: RawMetadata,
  tags: RawTags | null,
  visible: Area,
  warn: Warn,
): CfaPattern | null {
  const decoder = mosaicOfDecoder(metadata.filters, metadata.cdesc);
  // The decoder counts from its own visible area, which it may have moved by a row or column.
  const dx = visible.left - metadata.left_margin;
  const dy = visible.top - metadata.top_margin;
  const decoderPattern = decoder.kind === 'pattern' ? shiftPattern(decoder.pattern, dx, dy) : null;
  const stated = tags?.mosaic ?? null;
  if (stated === null) return decoderPattern;
  const pattern = stated.kind === 'pattern' ? stated.pattern : null;
  if (pattern !== null && decoderPattern !== null && pattern !== decoderPattern) {
    warn(
      'cfa-contradiction',
      `the file names the mosaic ${pattern}, the camera raw decoder takes it for ${decoderPattern}; used is ${pattern}; give --cfa to settle it`,
    );
  }
  return pattern;
}

function choosePedestal(
  raw: RawArea,
  visible: Area,
  metadata: RawMetadata,
  tags: RawTags | null,
  warn: Warn,
): number | null {
  const stated = tags?.black ? blackOfTags(tags.black) : null;
  if (stated !== null) return meanLevel(stated, 'states', raw, visible, warn);
  const decoder = metadata.color_data.black;
  if (decoder > 0) return decoder;
  const measured = blackOfMargin(raw, visible, tags?.maskedAreas ?? []);
  if (measured === null) return null;
  const level = meanLevel(measured, 'shows', raw, visible, warn);
  warn(
    'pedestal-measured',
    `the file states no level of no light; in its masked margin it is ${round(level)} ADU`,
  );
  return level;
}

/** The white level; one that does not lie above the level of no light is none. */
function chooseSaturation(
  pedestalAdu: number | null,
  metadata: RawMetadata,
  tags: RawTags | null,
): number | null {
  const white = positive(tags?.white ?? metadata.color_data.maximum);
  return white !== null && white > (pedestalAdu ?? 0) ? white : null;
}

function meanLevel(
  levels: SiteLevels,
  verb: string,
  raw: RawArea,
  visible: Area,
  warn: Warn,
): number {
  const mean = (levels[0] + levels[1] + levels[2] + levels[3]) / 4;
  const range = Math.max(...levels) - Math.min(...levels);
  const noise = pixelNoise(raw, visible);
  if (range > noise) {
    warn(
      'pedestals-differ',
      `the file ${verb} levels of no light that differ between the sites of the mosaic (${levels.map(round).join(', ')} ADU) by more than the noise (${round(noise)} ADU); the samples are left as they are, the pedestal is the mean, ${round(mean)} ADU`,
    );
  }
  return mean;
}

function round(value: number): string {
  return String(Math.round(100 * value) / 100);
}

/** Moves the visible area to the front of the samples and returns that part: no second buffer of the size of the sensor. */
function cropInPlace({ samples, width }: RawArea, visible: Area): Uint16Array {
  const columns = visible.right - visible.left;
  let to = 0;
  for (let y = visible.top; y < visible.bottom; y++) {
    const from = y * width + visible.left;
    samples.copyWithin(to, from, from + columns);
    to += columns;
  }
  return samples.subarray(0, to);
}
