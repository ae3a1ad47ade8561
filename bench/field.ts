/** The field's causes against simulated faults: `npm run bench:field [-- --quick] [--frames N] [--seed S] [--pairs N] [--keep DIR]
 * [--json] [--save]`.
 *
 * Frames of invented telescopes, rendered by wave optics star by star: all causes, strengths from invisible to strong, three
 * samplings, mosaic and mono, single and mixed faults, some with a gradient, a nebula or a cluster. Thresholds were tuned on seed 1;
 * the tables use seed 3. `--keep` keeps the measured scenes in a folder, so that a run can be made in parts or repeated. `--save` puts
 * the tables of a whole run into docs/benchmarks.md. Targets that are missed are printed as missed.
 */

import { measuredOnce } from './field/keep.js';
import { type FrameOutcome, outcomeOf } from './field/outcomes.js';
import { type RotationOutcome, rotationOutcome } from './field/rotations.js';
import { testScene } from './field/scenes.js';
import { fieldTables } from './field/tables.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { tableText } from './helpers/text-table.js';

function numberAfter(args: readonly string[], name: string, fallback: number): number {
  const at = args.indexOf(name);
  return at >= 0 ? Number(args[at + 1]) : fallback;
}

function main(args: readonly string[]): void {
  const quick = args.includes('--quick');
  const frames = numberAfter(args, '--frames', quick ? 40 : 420);
  const pairs = numberAfter(args, '--pairs', quick ? 6 : 60);
  const seed = numberAfter(args, '--seed', 3);
  const keepAt = args.indexOf('--keep');
  const keep = keepAt >= 0 ? (args[keepAt + 1] ?? null) : null;
  const start = performance.now();
  const progress = (text: string): void => {
    const seconds = ((performance.now() - start) / 1000).toFixed(0);
    process.stderr.write(`${seconds.padStart(5)} s  ${text}\n`);
  };
  const outcomes: FrameOutcome[] = [];
  for (let index = 0; index < frames; index++) {
    const test = testScene(seed, index);
    outcomes.push(outcomeOf(test, measuredOnce(keep, `frame-${seed}-${index}`, test.scene)));
    if ((index + 1) % 20 === 0) progress(`${index + 1} of ${frames} frames`);
  }
  const rotations: RotationOutcome[] = [];
  for (let index = 0; index < pairs; index++) {
    rotations.push(...rotationOutcome(seed, index, keep));
    if ((index + 1) % 10 === 0) progress(`${index + 1} of ${pairs} turned cameras`);
  }
  const seconds = Math.round((performance.now() - start) / 1000);
  if (args.includes('--json')) {
    process.stdout.write(
      `${JSON.stringify({ environment: environment(), seed, seconds, outcomes, rotations })}\n`,
    );
    return;
  }
  const head = `${environmentLine(environment())}, ${frames} frames, seed ${seed}, ${seconds} s${quick ? ', quick' : ''}`;
  const text = [head, ...fieldTables(outcomes, rotations).map(tableText)].join('\n\n');
  process.stdout.write(`${text}\n`);
  if (args.includes('--save')) {
    if (quick) throw new Error('--save needs a whole run');
    saveTables('field', text);
  }
}

main(process.argv.slice(2));
