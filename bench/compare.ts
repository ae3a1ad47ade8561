/** The comparison against truth: `npm run bench:compare [-- --quick] [--trials N] [--seed S] [--json] [--save]`.
 *
 * Pairs of invented telescopes at one random sky, rendered by wave optics: pairs that differ, with the true difference of the recorded images,
 * and one telescope twice, with other noise, turned, with another pixel, in other air. Targets that are missed are printed as missed.
 */
import { compareTelescopes } from '../src/compare/compare.js';
import { DEFAULT_COMPARE_OPTIONS } from '../src/compare/options.js';
import { coverageTable, sameTable, targetTable } from './compare/tables.js';
import {
  type Compare,
  differentTrial,
  Observatory,
  sameTrial,
  type TrialOutcome,
} from './compare/trials.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { tableText } from './helpers/text-table.js';

function main(args: readonly string[]): void {
  const numberAfter = (name: string, fallback: number): number => {
    const at = args.indexOf(name);
    return at >= 0 ? Number(args[at + 1]) : fallback;
  };
  const quick = args.includes('--quick');
  const trials = numberAfter('--trials', quick ? 15 : 200);
  const seed = numberAfter('--seed', 2);
  const start = performance.now();
  const progress = (text: string): void => {
    const seconds = ((performance.now() - start) / 1000).toFixed(0);
    process.stderr.write(`${seconds.padStart(5)} s  ${text}\n`);
  };
  const observatory = new Observatory();
  const run: Compare = (labels) =>
    compareTelescopes(
      labels.map((label) => ({ ...label, failed: [], seeingArcsec: null })),
      DEFAULT_COMPARE_OPTIONS,
    ).comparison;
  const different: TrialOutcome[] = [];
  const same: TrialOutcome[] = [];
  for (let i = 0; i < trials; i++) {
    different.push(differentTrial(seed, i, observatory, run));
    same.push(sameTrial(seed, i, observatory, run));
    if ((i + 1) % 10 === 0) progress(`${i + 1} of ${trials} pairs of each kind`);
  }
  const seconds = Math.round((performance.now() - start) / 1000);
  if (args.includes('--json')) {
    const document = { environment: environment(), seed, seconds, different, same };
    process.stdout.write(`${JSON.stringify(document)}\n`);
    return;
  }
  const stars = different.map((trial) => trial.stars).sort((a, b) => a - b);
  const head = `${environmentLine(environment())}, ${trials} pairs of each kind, ${stars[0]} to ${stars.at(-1)} common stars, seed ${seed}, ${seconds} s${quick ? ', quick' : ''}`;
  const tables = [targetTable(different, same), coverageTable(different), sameTable(same)];
  const text = [head, ...tables.map(tableText)].join('\n\n');
  process.stdout.write(`${text}\n`);
  if (args.includes('--save')) {
    if (quick) throw new Error('--save needs a whole run');
    saveTables('compare', text);
  }
}

main(process.argv.slice(2));
