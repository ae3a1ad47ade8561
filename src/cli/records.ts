/** `LABEL=FILE.json`: telescopes that come as what `measure --with-stars` wrote of them. */
import { readFile, stat } from 'node:fs/promises';
import type { RecordedFrame } from '../compare/record-label.js';
import { FrameReadError, UsageError } from '../errors.js';
import type { Input } from './inputs.js';

/** A record of forty frames with ten thousand stars each stays below. */
const MOST_BYTES = 500e6;

const isRecord = ({ file }: Input): boolean => file.toLowerCase().endsWith('.json');

/**
 * The frames of each label's records; null for labels of frames.
 * @throws UsageError for a label of frames and records; FrameReadError where a record cannot be read, or holds no stars
 */
export async function readRecords(
  labels: readonly { label: string; inputs: readonly Input[] }[],
): Promise<(RecordedFrame[] | null)[]> {
  const out: (RecordedFrame[] | null)[] = [];
  for (const { label, inputs } of labels) {
    const records = inputs.filter(isRecord);
    if (records.length > 0 && records.length < inputs.length) {
      throw new UsageError(
        `${label} has frames and a record`,
        'name either its frames, or what was measured of them',
      );
    }
    if (records.length === 0) {
      out.push(null);
      continue;
    }
    const frames: RecordedFrame[] = [];
    for (const { file } of records) frames.push(...(await framesOf(file)));
    out.push(frames);
  }
  return out;
}

async function framesOf(file: string): Promise<RecordedFrame[]> {
  const { readMeasureDocument } = await import('../report/read-measure.js');
  try {
    return readMeasureDocument(await textOf(file), file).frames;
  } catch (error) {
    if (!(error instanceof FrameReadError)) throw error;
    const { code, message, remedy } = error;
    throw new FrameReadError(code, file, `${file}: ${message}`, remedy, { cause: error });
  }
}

async function textOf(file: string): Promise<string> {
  try {
    const { size } = await stat(file);
    if (size <= MOST_BYTES) return await readFile(file, 'utf8');
  } catch (cause) {
    const missing = (cause as NodeJS.ErrnoException).code === 'ENOENT';
    throw new FrameReadError(
      missing ? 'missing' : 'unreadable',
      file,
      missing ? 'no such file' : 'this file cannot be read',
      missing ? 'check the name and the folder' : 'check its rights',
      { cause },
    );
  }
  throw new FrameReadError(
    'too-large',
    file,
    `larger than ${MOST_BYTES / 1e6} MB`,
    'measure fewer frames at a time',
  );
}
