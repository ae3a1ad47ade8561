/** Opens and measures every file of a folder and writes the table of docs/formats.md: what is read, and what is refused with which words.
 *
 * A frame that was read is written once more as plain FITS, read back and measured again: both must give the same record to the last digit.
 *
 *   npm run formats:table -- [--data FOLDER] [--save]
 */
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { ToolError } from '../src/errors.js';
import { createSampleArray } from '../src/frame/convert.js';
import { encodeFits } from '../src/frame/fits/write.js';
import type { Frame, SampleArray } from '../src/frame/frame.js';
import { openFrame } from '../src/frame/open.js';
import { measureFrame } from '../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../src/measure/options.js';
import { escapeControls } from '../src/report/escape.js';
import { jsonText } from '../src/report/json.js';

const ROOT = fileURLToPath(new URL('..', import.meta.url));
const PAGE = join(ROOT, 'docs', 'formats.md');
const [OPEN, CLOSE] = ['<!-- begin files -->', '<!-- end files -->'];

const { values } = parseArgs({
  options: {
    data: { type: 'string', default: join(ROOT, '..', 'shared', 'data') },
    save: { type: 'boolean', default: false },
  },
});

/** Every file below the folder but lists and notes. */
function dataFiles(folder: string): string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .map((name) => join(folder, name))
    .filter((path) => statSync(path).isFile() && !/\.(md|txt)$/i.test(path))
    .sort();
}

function allSamples({ rows }: Frame): SampleArray {
  const { width, height, planes, sampleType } = rows;
  const data = createSampleArray(sampleType, width * height * planes);
  for (let plane = 0; plane < planes; plane++) {
    rows.readRows(plane, 0, height, data, plane * width * height);
  }
  return data;
}

/** The same frame over a plain file of the same samples. */
async function plainTwin(frame: Frame, folder: string): Promise<Frame> {
  const { width, height, planes, scale, zero, blank } = frame.rows;
  const path = join(folder, 'plain.fits');
  writeFileSync(path, encodeFits({ width, height, planes, data: allSamples(frame) }));
  const { rows } = await openFrame(path, { cfa: 'none' });
  return {
    ...frame,
    rows: {
      width,
      height,
      planes,
      // 64-bit integers travel as doubles and are written as such.
      sampleType: frame.rows.sampleType,
      scale,
      zero,
      blank,
      readRows: (plane, y0, count, out, at) => rows.readRows(plane, y0, count, out, at),
      close: () => rows.close(),
    },
  };
}

function record(frame: Frame): string {
  return jsonText(measureFrame(frame, DEFAULT_MEASURE_OPTIONS).result);
}

async function describe(path: string, scratch: string): Promise<string[]> {
  try {
    const frame = await openFrame(path);
    const { width, height, planes, sampleType } = frame.rows;
    const what = `${frame.format}, ${width} × ${height}${planes > 1 ? ` × ${planes}` : ''} ${sampleType}, ${frame.layout}`;
    const own = record(frame);
    const used = (JSON.parse(own) as { stars: { used: number } }).stars.used;
    let same: string;
    try {
      const twin = await plainTwin(frame, scratch);
      same = record(twin) === own ? 'yes' : '**no**';
      twin.rows.close();
    } finally {
      frame.rows.close();
    }
    return [what, String(used), same];
  } catch (error) {
    if (!(error instanceof ToolError)) throw error;
    return [`refused: ${error.message}; ${error.remedy}`, '', ''];
  }
}

const scratch = mkdtempSync(join(tmpdir(), 'bluerim-formats-'));
const lines = [
  '| file | read as, or the message | stars used | same as its plain copy |',
  '|---|---|---:|---|',
];
try {
  for (const path of dataFiles(values.data)) {
    const cells = await describe(path, scratch);
    const name = relative(values.data, path).replaceAll('\\', '/');
    lines.push(
      `| ${[`\`${name}\``, ...cells].map((cell) => escapeControls(cell).replaceAll('|', '\\|')).join(' | ')} |`,
    );
    process.stderr.write('.');
  }
} finally {
  rmSync(scratch, { recursive: true, force: true });
}
process.stderr.write('\n');
const table = lines.join('\n');
if (values.save) {
  const text = readFileSync(PAGE, 'utf8');
  const from = text.indexOf(OPEN);
  const to = text.indexOf(CLOSE);
  if (from < 0 || to < from) throw new Error(`${PAGE} lacks ${OPEN} … ${CLOSE}`);
  writeFileSync(PAGE, `${text.slice(0, from + OPEN.length)}\n\n${table}\n\n${text.slice(to)}`);
} else {
  process.stdout.write(`${table}\n`);
}
