/** A `measure` document read back, with its stars: for comparing telescopes without their frames. */
import { FrameReadError } from '../errors.js';
import type { ChannelResult } from '../measure/result.js';
import type { MeasureDocument } from './json.js';
import { MEASURE_SCHEMA_ID } from './json.js';
import { measureDocumentSchema } from './schema.js';
import { METADATA_KEYS } from './schema-frame.js';

const CHANNELS: readonly string[] = ['R', 'G', 'B', 'L'];
/** Numbers of a channel that are above zero where they are known. */
const WIDTHS = ['fwhmPx', 'hfdPx', 'r50Px', 'r80Px', 'r90Px'] as const;
const AGAIN = 'run `bluerim measure --with-stars -o FILE.json` on its frames';

/** The schema name of anything that was parsed; null where it has none. */
function schemaOf(document: unknown): string | null {
  if (typeof document !== 'object' || document === null) return null;
  const schema = (document as { schema?: unknown }).schema;
  return typeof schema === 'string' ? schema : null;
}

/** Header values that an earlier version did not write yet become null: not known. */
function completeMetadata(document: object): void {
  const { frames } = document as { frames?: unknown };
  if (!Array.isArray(frames)) return;
  for (const frame of frames) {
    const metadata = (frame as { metadata?: unknown } | null)?.metadata;
    if (typeof metadata !== 'object' || metadata === null) continue;
    for (const key of METADATA_KEYS) {
      if (!Object.hasOwn(metadata, key)) Object.assign(metadata, { [key]: null });
    }
  }
}

/** What the schema cannot say: columns of another length than the list, and widths that no star has; null = nothing. */
function impossible({ frames }: MeasureDocument): string | null {
  for (const [f, { channels, starList = [] }] of frames.entries()) {
    for (const [name, values] of Object.entries(channels)) {
      for (const key of WIDTHS) {
        const width = (values as Partial<ChannelResult>)[key]?.value;
        if (typeof width === 'number' && width <= 0) {
          return `frames.${f}.channels.${name}.${key}: a width of ${width}`;
        }
      }
    }
    for (const [l, { columns, flags }] of starList.entries()) {
      for (const [name, column] of Object.entries(columns)) {
        const at = `frames.${f}.starList.${l}.columns.${name}`;
        if (column.length !== flags.length) {
          return `${at}: ${column.length} values for ${flags.length} stars`;
        }
        if (/^(fwhm|hfd)_[A-Z]$/.test(name) && column.some((v) => v !== null && v < 0)) {
          return `${at}: a width below zero`;
        }
      }
    }
  }
  return null;
}

/**
 * Checks that `text` is a `measure` document that holds stars, and returns it. Fields of a later version are let pass, header values that an
 * earlier one lacks are null.
 * Values that were not measured are null, also where a record in memory holds NaN.
 * @throws FrameReadError `not-json`, `not-a-record`, `no-stars-in-record`
 */
export function readMeasureDocument(text: string, path: string): MeasureDocument {
  let document: unknown;
  try {
    document = JSON.parse(text);
  } catch (cause) {
    throw new FrameReadError('not-json', path, 'this is no JSON document', AGAIN, { cause });
  }
  const schema = schemaOf(document);
  if (schema?.startsWith('bluerim/field/') === true) {
    throw new FrameReadError(
      'no-stars-in-record',
      path,
      'a result of `field` holds cells and causes, not the stars that a comparison needs',
      AGAIN,
    );
  }
  if (schema !== MEASURE_SCHEMA_ID) {
    throw new FrameReadError(
      'not-a-record',
      path,
      schema === null
        ? 'this JSON document was not written by bluerim'
        : `this is a document of kind ${schema}; wanted: ${MEASURE_SCHEMA_ID}`,
      AGAIN,
    );
  }
  completeMetadata(document as object);
  const checked = measureDocumentSchema.safeParse(document);
  const issue = checked.error?.issues.find(({ code }) => code !== 'unrecognized_keys');
  const record = document as MeasureDocument;
  const fault =
    issue === undefined
      ? impossible(record)
      : `${issue.path.join('.') || 'the document'}: ${issue.message}`;
  if (fault !== null) {
    throw new FrameReadError('not-a-record', path, `damaged or changed by hand: ${fault}`, AGAIN);
  }
  for (const { channels } of record.frames) {
    for (const name of Object.keys(channels)) {
      if (!CHANNELS.includes(name)) delete (channels as Record<string, unknown>)[name];
    }
  }
  const measured = record.frames.filter(({ status }) => status === 'ok');
  if (!measured.some(({ starList }) => starList?.some(({ flags }) => flags.length > 0))) {
    throw new FrameReadError(
      'no-stars-in-record',
      path,
      measured.some(({ starList }) => starList !== undefined)
        ? 'no star was found in its frames'
        : 'it was written without the stars that a comparison needs',
      AGAIN,
    );
  }
  return record;
}
