/** Records of a night as lines of JSON (NDJSON): written while frames are measured, read again to go on or to merge. Lines come from files,
 * so nothing in them is trusted.
 */
import { z } from 'zod';
import type { NightFrame } from './night-frame.js';

const RECORD_SCHEMA = 'bluerim/night-frame/1';
const RUN_SCHEMA = 'bluerim/night-run/1';

/** First line of a run: records of different runs go together only when this is the same. */
export interface RunLine {
  schema: typeof RUN_SCHEMA;
  version: string;
  /** Everything that a record depends on, as one object; compared as text. */
  parameters: Record<string, unknown>;
  /** Frames of the whole list, of which a run may measure a part; absent when nobody knows, as in a folder that fills. */
  frames?: number;
}

/** A record and its place in the list of all files. */
export interface RecordLine {
  schema: typeof RECORD_SCHEMA;
  order: number;
  frame: NightFrame;
}

const count = z.int().nonnegative();
const real = z.number();
/** What a date can hold (ECMA-262, section 21.4.1.1). */
const time = z.number().min(-8.64e15).max(8.64e15);
const orNull = <T extends z.ZodType>(type: T) => type.nullable();
const text = z.string().max(4096);
const uncertain = z.strictObject({ value: real, low: orNull(real), high: orNull(real) });
const MOST_STARS = 10_000;
const LINE_BREAK = 0x0a;

/** JSON has no NaN: an interval that could not be found comes back as null. */
const readUncertain = uncertain.transform(({ value, low, high }) => ({
  value,
  low: low ?? Number.NaN,
  high: high ?? Number.NaN,
}));

const error = z.strictObject({ code: text, message: text, remedy: text });
const warning = z.object({ code: text, message: text, file: text.optional() });

const metadata = z.strictObject({
  exposureSeconds: orNull(real),
  gainElectronsPerAdu: orNull(real),
  isoSpeed: orNull(real),
  pixelSizeUm: orNull(real),
  binning: orNull(real),
  focalLengthMm: orNull(real),
  apertureMm: orNull(real),
  filter: orNull(text),
  object: orNull(text),
  telescope: orNull(text),
  instrument: orNull(text),
  dateObs: orNull(text),
  airmass: orNull(real),
  sensorTemperatureC: orNull(real),
  focusPosition: orNull(real),
  ambientTemperatureC: orNull(real),
  imageType: orNull(text),
  pierSide: orNull(text),
  saturationAdu: orNull(real),
  pedestalAdu: orNull(real),
});

const pair = z.tuple([real, real]);

const stars = z
  .strictObject({
    x: z.array(real).max(MOST_STARS),
    y: z.array(real).max(MOST_STARS),
    fluxAdu: z.array(orNull(real)).max(MOST_STARS),
    fluxErrorAdu: z.array(orNull(real)).max(MOST_STARS),
  })
  .refine(
    ({ x, y, fluxAdu, fluxErrorAdu }) =>
      y.length === x.length && fluxAdu.length === x.length && fluxErrorAdu.length === x.length,
    'columns of unequal length',
  );

const frame = z
  .strictObject({
    file: z.string().max(65536),
    bytes: orNull(count),
    modifiedMs: orNull(real),
    sha256: orNull(z.string().regex(/^[0-9a-f]{64}$/)),
    status: z.enum(['ok', 'failed']),
    error: orNull(error),
    width: orNull(z.int().positive()),
    height: orNull(z.int().positive()),
    layout: orNull(z.enum(['mono', 'rgb', 'cfa'])),
    metadata: orNull(metadata),
    imageType: z.enum(['light', 'dark', 'bias', 'flat']),
    pierSide: orNull(z.enum(['east', 'west'])),
    ambientTemperatureC: orNull(real),
    startMs: orNull(time),
    scaleArcsecPerPx: orNull(real),
    starsFound: count,
    starsUsed: count,
    fwhmPx: orNull(readUncertain),
    ellipticity: orNull(readUncertain),
    elongationAngleDeg: orNull(real),
    backgroundAdu: orNull(real),
    noiseAdu: orNull(real),
    starAreaPx: orNull(real),
    blueMinusRedPercent: orNull(readUncertain),
    trails: z
      .array(z.strictObject({ from: pair, to: pair, lengthPx: real, log10FalseProbability: real }))
      .max(100),
    stars,
    warnings: z.array(warning).max(1000),
  })
  .refine(
    ({ status, width, height }) => status === 'failed' || (width !== null && height !== null),
    'a measured frame without a size',
  );

const line = z.discriminatedUnion('schema', [
  z.strictObject({
    schema: z.literal(RUN_SCHEMA),
    version: text,
    parameters: z.record(z.string(), z.unknown()),
    frames: count.optional(),
  }),
  z.strictObject({ schema: z.literal(RECORD_SCHEMA), order: count, frame }),
]);

/** The opening line, with its line break. */
export function runLine(
  version: string,
  parameters: Record<string, unknown>,
  frames: number | null = null,
): string {
  const opening: RunLine = {
    schema: RUN_SCHEMA,
    version,
    parameters,
    ...(frames !== null && { frames }),
  };
  return `${JSON.stringify(opening)}\n`;
}

/** One record, with its line break. */
export function recordLine(order: number, record: NightFrame): string {
  const entry: RecordLine = { schema: RECORD_SCHEMA, order, frame: record };
  return `${JSON.stringify(entry)}\n`;
}

export type ParsedLine = RunLine | RecordLine | { fault: string };

/** One line of such a file; a fault says what is wrong with it. Lines of other kinds (decisions, summaries) are null. */
export function parseLine(written: string): ParsedLine | null {
  let value: unknown;
  try {
    value = JSON.parse(written);
  } catch {
    return { fault: 'no JSON' };
  }
  const schema = (value as { schema?: unknown } | null)?.schema;
  if (typeof schema === 'string' && /^bluerim\/night-(?:decision|summary)\/\d+$/.test(schema)) {
    return null;
  }
  const parsed = line.safeParse(value);
  if (parsed.success) return parsed.data as RunLine | RecordLine;
  const [issue] = parsed.error.issues;
  return { fault: `${issue?.path.join('.') || 'the line'}: ${issue?.message ?? 'not a record'}` };
}

/** Records read from one or more files. */
export interface ReadRecords {
  records: { order: number; frame: NightFrame }[];
  parameters: Record<string, unknown> | null;
  version: string | null;
  /** Every opening line: a file that was gone on with, or put together from several, has more than one. The last is `parameters`. */
  runs: { parameters: Record<string, unknown>; version: string; frames: number | null }[];
  faults: { line: number; fault: string }[];
  /** Bytes up to the end of the last whole line: what follows was cut short. */
  wholeBytes: number;
}

/**
 * Reads one file. The last line may be cut short by an interruption: it is left out and is no fault.
 * Of several records of one file the last counts.
 * @param content bytes, so that damaged ones do not shift the end of the last whole line; or text
 */
export function readRecords(content: string | Uint8Array): ReadRecords {
  const bytes = typeof content === 'string' ? new TextEncoder().encode(content) : content;
  const wholeBytes = bytes.lastIndexOf(LINE_BREAK) + 1;
  const found: ReadRecords = {
    records: [],
    parameters: null,
    version: null,
    runs: [],
    faults: [],
    wholeBytes,
  };
  const byFile = new Map<string, number>();
  const lineOf = new TextDecoder();
  let begin = 0;
  for (let line = 1; begin < wholeBytes; line++) {
    const end = bytes.indexOf(LINE_BREAK, begin);
    const written = lineOf.decode(bytes.subarray(begin, end));
    begin = end + 1;
    if (written.trim() === '') continue;
    const parsed = parseLine(written);
    if (parsed === null) continue;
    if ('fault' in parsed) found.faults.push({ line, fault: parsed.fault });
    else if (parsed.schema === RUN_SCHEMA) {
      const { parameters, version, frames = null } = parsed;
      found.parameters = parameters;
      found.version = version;
      found.runs.push({ parameters, version, frames });
    } else {
      const entry = { order: parsed.order, frame: parsed.frame };
      const earlier = byFile.get(parsed.frame.file);
      if (earlier === undefined) {
        byFile.set(parsed.frame.file, found.records.length);
        found.records.push(entry);
      } else found.records[earlier] = entry;
    }
  }
  return found;
}
