/** The well-corrected circle on simulated frames: `npm run bench:circle [-- --frames N] [--from N] [--seed S] [--json] [--read FILE…] [--save]`.
 *
 * Frames of the simulator with field curvature, a tilted sensor, coma or sound optics, mono and mosaic. The truth comes from the
 * simulator's own star images at a grid of places, without noise, by measures that the estimator does not use: FWHM from the area
 * above half of the peak, ellipticity from adaptive moments. `--from` and `--json` make a part of the run, `--read` joins such parts. `--save` puts the tables into docs/benchmarks.md.
 */
import { readFileSync } from 'node:fs';
import { type CorrectedCircle, DEFAULT_CIRCLE_LIMITS } from '../src/field/corrected-circle.js';
import { analyseField } from '../src/field/field.js';
import { DEFAULT_MEASURE_OPTIONS } from '../src/measure/options.js';
import { searchFrame } from '../src/measure/search-frame.js';
import { createRandom } from '../src/stats/random.js';
import { circleScene, type Fault, simulatedFrame } from './circle/scenes.js';
import { type CircleTruth, circleTruth } from './circle/truth.js';
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { fixed, type TextTable, tableText } from './helpers/text-table.js';

interface Outcome {
  fault: Fault;
  layout: string;
  truth: CircleTruth;
  found: CorrectedCircle;
  halfPx: number;
}

const FAULTS: readonly Fault[] = ['curvature', 'tilt', 'coma', 'sound'];

function numberAfter(args: readonly string[], name: string, fallback: number): number {
  const at = args.indexOf(name);
  return at >= 0 ? Number(args[at + 1]) : fallback;
}

function outcomeOf(seed: number, index: number): Outcome {
  const random = createRandom(1000 * seed + index);
  const fault = FAULTS[index % FAULTS.length] as Fault;
  const scene = circleScene(fault, index, random);
  const { widthPx, heightPx, layout } = scene.camera;
  const searched = searchFrame(
    simulatedFrame(scene),
    { ...DEFAULT_MEASURE_OPTIONS, maxStars: 1500 },
    () => {},
  );
  const [set] = analyseField([{ frames: [searched] }], { seed: 1, draws: 2, stamps: false }).sets;
  if (!set?.correctedCircle) throw new Error('no circle');
  return {
    fault,
    layout,
    truth: circleTruth(scene, DEFAULT_CIRCLE_LIMITS),
    found: set.correctedCircle,
    halfPx: 0.5 * Math.sqrt(widthPx ** 2 + heightPx ** 2),
  };
}

/** The interval holds the truth; an end beyond the frame counts as the corner and more. */
function covered({ truth, found: { radiusPx } }: Outcome): boolean {
  const beyond = Number.POSITIVE_INFINITY;
  const at = truth.radiusPx ?? beyond;
  return (radiusPx.low ?? beyond) <= at && at <= (radiusPx.high ?? beyond);
}

function row(name: string, all: readonly Outcome[]): (string | number)[] {
  const answered = all.filter(({ found }) => found.status !== 'cannot tell');
  const inside = answered.filter(
    ({ truth, found }) => truth.radiusPx !== null && found.radiusPx.value !== null,
  );
  const off = inside.map(
    ({ truth, found, halfPx }) =>
      (100 * ((found.radiusPx.value ?? 0) - (truth.radiusPx ?? 0))) / halfPx,
  );
  const mean = off.reduce((sum, each) => sum + each, 0) / off.length;
  const rms = Math.sqrt(off.reduce((sum, each) => sum + each * each, 0) / off.length);
  const corner = answered.filter(({ truth }) => truth.radiusPx === null);
  const seen = corner.filter(({ found }) => found.status === 'whole frame');
  const missed = answered.filter(
    ({ truth, found }) => truth.radiusPx !== null && found.status === 'whole frame',
  );
  return [
    name,
    all.length,
    all.length - answered.length,
    fixed(mean, 1),
    fixed(rms, 1),
    `${answered.filter(covered).length} of ${answered.length}`,
    `${seen.length} of ${corner.length}`,
    `${missed.length} of ${answered.length - corner.length}`,
  ];
}

function table(outcomes: readonly Outcome[]): TextTable {
  return {
    title: 'Radius of the well-corrected circle against truth',
    columns: [
      'fault',
      'frames',
      'cannot tell',
      'bias, % of half diagonal',
      'rms, % of half diagonal',
      '68 % interval holds truth',
      'true to the corner, said so',
      'ends inside, said to the corner',
    ],
    rows: [
      ...FAULTS.map((fault) =>
        row(
          fault,
          outcomes.filter((each) => each.fault === fault),
        ),
      ),
      ...['mono', 'cfa'].map((layout) =>
        row(
          layout,
          outcomes.filter((each) => each.layout === layout),
        ),
      ),
      row('all', outcomes),
    ],
  };
}

function main(args: readonly string[]): void {
  const frames = numberAfter(args, '--frames', 48);
  const seed = numberAfter(args, '--seed', 2);
  const start = performance.now();
  const read = args.indexOf('--read');
  const parts = read < 0 ? [] : args.slice(read + 1).filter((name) => !name.startsWith('--'));
  const outcomes: Outcome[] = parts.flatMap(
    (name) => (JSON.parse(readFileSync(name, 'utf8')) as { outcomes: Outcome[] }).outcomes,
  );
  const from = numberAfter(args, '--from', 0);
  const until = parts.length > 0 ? from : frames;
  for (let index = from; index < until; index++) {
    const outcome = outcomeOf(seed, index);
    outcomes.push(outcome);
    const seconds = ((performance.now() - start) / 1000).toFixed(0);
    const { truth, found, fault, layout } = outcome;
    const text = `${fault} ${layout}: truth ${truth.radiusPx?.toFixed(0) ?? 'corner'}, found ${found.radiusPx.value?.toFixed(0) ?? found.status} [${found.radiusPx.low?.toFixed(0) ?? '-'}, ${found.radiusPx.high?.toFixed(0) ?? '-'}], ${found.stars} stars`;
    process.stderr.write(`${seconds.padStart(5)} s  ${index + 1} of ${frames}  ${text}\n`);
  }
  const seconds = Math.round((performance.now() - start) / 1000);
  if (args.includes('--json')) {
    process.stdout.write(`${JSON.stringify({ environment: environment(), seed, outcomes })}\n`);
    return;
  }
  const head = `${environmentLine(environment())}, ${outcomes.length} frames, seed ${seed}${parts.length > 0 ? '' : `, ${seconds} s`}`;
  const text = [head, tableText(table(outcomes))].join('\n\n');
  process.stdout.write(`${text}\n`);
  if (args.includes('--save')) saveTables('circle', text);
}

main(process.argv.slice(2));
