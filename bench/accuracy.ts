/** Accuracy against simulated truth, as tables: `npm run bench:accuracy [-- --quick] [--json] [--only PART] [--save]`.
 *
 * `--save` puts the tables of a whole run into docs/benchmarks.md.
 *
 * Everything is seeded: the same version prints the same numbers. Nothing here is a test; targets that are missed are
 * printed as missed.
 */
import { channelSizes } from './accuracy/channels.js';
import { detection } from './accuracy/detection.js';
import { lensHalos } from './accuracy/halo.js';
import { singleStars } from './accuracy/single-stars.js';
import { TargetBook } from './accuracy/targets.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { type TextTable, tableText } from './helpers/text-table.js';

const PARTS = {
  'single-stars': singleStars,
  channels: channelSizes,
  halo: lensHalos,
  detection,
} as const;

function main(args: readonly string[]): void {
  const quick = args.includes('--quick');
  const json = args.includes('--json');
  const only = args.includes('--only') ? args[args.indexOf('--only') + 1] : null;
  if (only !== null && !(only in PARTS)) {
    throw new Error(`--only takes one of ${Object.keys(PARTS).join(', ')}`);
  }
  const machine = environment();
  const book = new TargetBook();
  const tables: TextTable[] = [];
  const data: Record<string, unknown> = {};
  const start = performance.now();
  const progress = (text: string): void => {
    const seconds = ((performance.now() - start) / 1000).toFixed(0);
    process.stderr.write(`${seconds.padStart(4)} s  ${text}\n`);
  };
  for (const [name, run] of Object.entries(PARTS)) {
    if (only !== null && name !== only) continue;
    const { tables: made, ...numbers } = run(quick, book, progress);
    tables.push(...made);
    data[name] = numbers;
  }
  const targets = book.summary();
  const seconds = Math.round((performance.now() - start) / 1000);
  if (json) {
    const document = { environment: machine, quick, seconds, targets, ...data };
    process.stdout.write(`${JSON.stringify(document, null, 1)}\n`);
    return;
  }
  const summary: TextTable = {
    title: 'Targets',
    columns: ['target', 'cells', 'reached', 'unclear', 'missed', 'worst'],
    rows: targets.map((entry) => [
      entry.target,
      entry.cells,
      entry.reached,
      entry.unclear,
      entry.missed,
      entry.worst,
    ]),
  };
  const head = `${environmentLine(machine)}${quick ? ', quick' : ''}, ${seconds} s`;
  const note =
    'unclear = beyond the limit, but by less than twice the benchmark’s own error; ± is 1 σ, or half the 68 % interval.';
  const text = (list: TextTable[]): string => [head, note, ...list.map(tableText)].join('\n\n');
  process.stdout.write(`${text([summary, ...tables])}\n`);
  if (args.includes('--save')) {
    if (quick || only !== null) throw new Error('--save needs a whole run');
    saveTables('accuracy', text([summary, ...tables.filter(({ detail }) => detail !== true)]));
  }
}

main(process.argv.slice(2));
