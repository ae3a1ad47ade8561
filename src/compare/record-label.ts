/** A telescope whose stars come from records: a `measure --with-stars` document, or frames measured one by one beside such a document. */
import type { StarCatalogue } from '../catalogue/catalogue.js';
import { FLAG } from '../catalogue/flags.js';
import { catalogueOfRecord, type StarListRecord } from '../catalogue/star-list-record.js';
import type { FrameMetadata } from '../frame/frame.js';
import type { StarList } from '../match/star-list.js';
import { scaleOf } from '../measure/frame-facts.js';
import type { ChannelName, FrameResult } from '../measure/result.js';
import type { ComparedTelescope } from './result.js';

/** A measured frame with its stars. */
export interface RecordFrame {
  result: FrameResult;
  stars: StarCatalogue;
  /** Channel that fluxes, positions and sizes of stars refer to. */
  reference: ChannelName;
}

export interface RecordLabel {
  label: string;
  frames: RecordFrame[];
  failed: ComparedTelescope['failed'];
  /** Whether the frames themselves are at hand. */
  hasPixels: boolean;
  seeingArcsec: number | null;
}

/** What the user says about a telescope; it wins over the record. */
export type RecordOverrides = Partial<
  Pick<
    FrameMetadata,
    'apertureMm' | 'focalLengthMm' | 'pixelSizeUm' | 'gainElectronsPerAdu' | 'saturationAdu'
  >
> & { seeingArcsec?: number };

/** A frame of a `measure` document, with its stars where they were asked for. */
export type RecordedFrame = FrameResult & { starList?: StarListRecord[] };

/** Flags of what is no star, or whose place is uncertain. */
const NOT_FOR_MATCHING =
  FLAG['hot pixel'] | FLAG['cosmic ray'] | FLAG.edge | FLAG.trail | FLAG.extended;

export function recordFrame(result: FrameResult, stars: StarCatalogue): RecordFrame {
  return {
    result,
    stars,
    reference: stars.channels.includes('G') ? 'G' : (stars.channels[0] ?? 'L'),
  };
}

/** The label of a document's frames. Frames that failed, or that hold no stars, are named as failed. */
export function recordLabel(
  label: string,
  frames: readonly RecordedFrame[],
  given: RecordOverrides,
): RecordLabel {
  const out: RecordLabel = {
    label,
    frames: [],
    failed: [],
    hasPixels: false,
    seeingArcsec: given.seeingArcsec ?? null,
  };
  const { saturationAdu } = given;
  for (const { starList, ...record } of frames) {
    // The stars of a set's green frame stand for the set: sizes and places refer to it.
    const own =
      starList?.find(({ file }) => file === record.setFiles?.G) ??
      starList?.[record.layout === 'set' ? 1 : 0];
    if (record.status === 'failed' || record.metadata === null || own === undefined) {
      const error = record.error ?? {
        code: 'no-stars-in-record',
        message: 'the record holds no stars of this frame',
        remedy: 'run `bluerim measure --with-stars --json` on it again',
      };
      out.failed.push({ file: record.file, error });
      continue;
    }
    const metadata = withGiven(record.metadata, given);
    const stars =
      saturationAdu === undefined || record.stars === null
        ? record.stars
        : { ...record.stars, saturationAdu, saturationSource: 'option' as const };
    const result = { ...record, metadata, stars, scaleArcsecPerPx: scaleOf(metadata) };
    out.frames.push(recordFrame(result, catalogueOfRecord(own)));
  }
  return out;
}

function withGiven(metadata: FrameMetadata, given: RecordOverrides): FrameMetadata {
  return {
    ...metadata,
    apertureMm: given.apertureMm ?? metadata.apertureMm,
    focalLengthMm: given.focalLengthMm ?? metadata.focalLengthMm,
    pixelSizeUm: given.pixelSizeUm ?? metadata.pixelSizeUm,
    gainElectronsPerAdu: given.gainElectronsPerAdu ?? metadata.gainElectronsPerAdu,
    saturationAdu: given.saturationAdu ?? metadata.saturationAdu,
  };
}

/** Column of a catalogue; all NaN where the channel has none. */
export function columnOf({ stars }: RecordFrame, name: string): Float64Array {
  return stars.columns[name] ?? new Float64Array(stars.length).fill(Number.NaN);
}

/** Good stars that a measurement left out for its own reasons. */
const STILL_GOOD = FLAG['over limit'] | FLAG['outside zone'];
/** Signal-to-noise from which a star is compared. */
const LEAST_SNR = 10;

/** Whether a row of the catalogue is a star fit for comparing. */
export function isGood(frame: RecordFrame): (i: number) => boolean {
  const snr = columnOf(frame, 'snr');
  return (i) =>
    ((frame.stars.flags[i] as number) & ~STILL_GOOD) === 0 && (snr[i] as number) >= LEAST_SNR;
}

/** Stars for matching, and the row of the catalogue behind each. */
export function matchListOfRecord(frame: RecordFrame): { list: StarList; source: number[] } {
  const { stars, reference, result } = frame;
  const placed = columnOf(frame, `fwhm_${reference}`);
  const source: number[] = [];
  for (let i = 0; i < stars.length; i++) {
    const flags = stars.flags[i] as number;
    if ((flags & NOT_FOR_MATCHING) !== 0) continue;
    if (Number.isFinite(placed[i]) || (flags & FLAG.saturated) !== 0) source.push(i);
  }
  const of = (name: string): Float64Array => {
    const column = columnOf(frame, name);
    return Float64Array.from(source, (i) => column[i] as number);
  };
  return {
    source,
    list: {
      x: of('x'),
      y: of('y'),
      brightness: of(`flux_${reference}`),
      positionErrorPx: of('x_err'),
      width: result.width ?? 0,
      height: result.height ?? 0,
    },
  };
}
