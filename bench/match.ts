/** Star matching on random pairs: `npm run bench:match [-- --quick] [--pairs N] [--seed S] [--json] [--save]`.
 *
 * Success on pairs of one sky, false accepts on pairs of different skies, time. Constants were tuned on lists of other
 * seeds. Targets that are missed are printed as missed. In parts, on several cores: `--only same`, `different`, `few` or
 * `time` measures one theme, `--from 250 --pairs 250` the later pairs, with `--json` to a file each; then
 * `--merge first.json later.json … --save` prints them together.
 */
import { readFileSync } from 'node:fs';
import { type MatchOptions, matchStars } from '../src/match/match.js';
import { FULL_LIMITS, randomPair, type StarPair, starPair } from '../tests/helpers/star-lists.js';
import { environment, environmentLine } from './helpers/environment.js';
import { FEW_KINDS, fewStarPairs, fewTable } from './helpers/handfuls.js';
import { saveTables } from './helpers/save.js';
import { type Cell, fixed, type TextTable, tableText } from './helpers/text-table.js';

/** Classes by the number of common stars. */
const CLASSES = [10, 15, 30, 100, Number.POSITIVE_INFINITY] as const;
const TARGET_SUCCESS = 0.99;
const TARGET_MS = 1000;
/** Seeds of one run start this far apart. */
const SEED_STEP = 10_000_000;

interface Outcome {
  seed: number;
  common: number;
  result: string;
  ms: number;
  log10False: number;
}

/** Time is that of the processor, all threads: other work on the machine counts less. */
function timed(a: StarPair['a'], b: StarPair['b'], options?: MatchOptions) {
  const start = process.cpuUsage();
  const result = matchStars(a, b, options);
  const { user, system } = process.cpuUsage(start);
  return { result, ms: (user + system) / 1000 };
}

function onePair(seed: number): Outcome {
  const pair = randomPair(seed);
  const { result, ms } = timed(pair.a, pair.b);
  if (!result.found) {
    const log10False = result.best?.log10FalseProbability ?? 0;
    return { seed, common: pair.common, result: result.reason, ms, log10False };
  }
  let good = 0;
  for (let k = 0; k < result.matched; k++) {
    if (pair.partner[result.indexA[k]] === result.indexB[k]) good++;
  }
  return {
    seed,
    common: pair.common,
    result: good >= 0.8 * result.matched ? 'right' : 'wrong',
    ms,
    log10False: result.log10FalseProbability,
  };
}

function differentFields(seed: number): Outcome {
  // Every second pair has few stars: there chance comes closest.
  const limits =
    seed % 2 === 0
      ? FULL_LIMITS
      : { ...FULL_LIMITS, mostStars: 60, fewestStars: 4, fewestCommon: 2 };
  const { a } = randomPair(seed, limits);
  const { b } = randomPair(seed + SEED_STEP / 2, limits);
  const { result, ms } = timed(a, b);
  const log10False = result.found
    ? result.log10FalseProbability
    : (result.best?.log10FalseProbability ?? 0);
  return { seed, common: 0, result: result.found ? 'accepted' : result.reason, ms, log10False };
}

function quantile(values: readonly number[], p: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))] ?? Number.NaN;
}

function successTable(outcomes: readonly Outcome[]): TextTable {
  const rows: Cell[][] = [];
  for (let c = 0; c + 1 < CLASSES.length; c++) {
    const [low, high] = [CLASSES[c], CLASSES[c + 1]];
    const own = outcomes.filter(({ common }) => common >= low && common < high);
    const count = (result: string): number => own.filter((o) => o.result === result).length;
    const right = count('right');
    rows.push([
      high === Number.POSITIVE_INFINITY ? `${low} or more` : `${low}–${high - 1}`,
      own.length,
      right,
      count('wrong'),
      own.length - right - count('wrong'),
      own.length === 0 ? null : `${fixed((100 * right) / own.length, 1)} %`,
      fixed(
        quantile(
          own.map(({ ms }) => ms),
          0.5,
        ),
        0,
      ),
      fixed(
        quantile(
          own.map(({ ms }) => ms),
          0.95,
        ),
        0,
      ),
    ]);
  }
  return {
    title: 'One sky, two cameras',
    columns: [
      'common stars',
      'pairs',
      'right',
      'wrong',
      'refused',
      'success',
      'ms, median',
      'ms, 95 %',
    ],
    rows,
  };
}

function falseTable(outcomes: readonly Outcome[]): TextTable {
  const kinds = ['accepted', 'too-few-stars', 'no-agreement', 'not-significant', 'ambiguous'];
  const rows: Cell[][] = kinds.map((kind) => {
    const own = outcomes.filter(({ result }) => result === kind);
    const least = Math.min(...own.map(({ log10False }) => log10False));
    return [kind, own.length, own.length === 0 ? null : fixed(least, 1)];
  });
  return {
    title: 'Different skies',
    columns: ['answer', 'pairs', 'lowest log10 of the false probability'],
    rows,
  };
}

function timeTable(quick: boolean): { table: TextTable; ms5000: number; refused5000: number } {
  const rows: Cell[][] = [];
  let ms5000 = Number.NaN;
  let refused5000 = Number.NaN;
  for (const stars of quick ? [5000] : [1000, 5000, 20_000]) {
    const view = {
      width: 6000,
      height: 4000,
      scale: 1,
      rotationDeg: 0,
      mirrored: false,
      centreX: 0,
      centreY: 0,
      stars,
      spurious: 0.1,
      sigmaPx: 0.15,
      distortionPx: 2,
      scatterMag: 0.4,
      saturated: 0.01,
      lost: 0.05,
    };
    const turned = starPair(1, view, { ...view, rotationDeg: 75, scale: 1.4, centreX: 300 });
    const dithered = starPair(2, view, { ...view, rotationDeg: 0.05, centreX: 12, centreY: -8 });
    const cases: [string, StarPair['a'], StarPair['b'], MatchOptions][] = [
      ['turned and enlarged', turned.a, turned.b, {}],
      ['same camera, no hint', dithered.a, dithered.b, {}],
      [
        'same camera, nearlyAligned',
        dithered.a,
        dithered.b,
        { nearlyAligned: true, maxShiftPx: 50 },
      ],
      ['different skies', turned.a, dithered.a, {}],
    ];
    for (const [name, a, b, options] of cases) {
      const runs = Array.from({ length: quick ? 3 : 5 }, () => timed(a, b, options));
      const ms = runs.map((run) => run.ms);
      const { result } = runs[0];
      rows.push([
        stars,
        name,
        result.found ? `${result.matched} of ${result.expected}` : result.reason,
        result.found ? result.transform.kind : null,
        fixed(Math.min(...ms), 0),
        fixed(quantile(ms, 0.5), 0),
      ]);
      if (stars === 5000 && name === 'turned and enlarged') ms5000 = quantile(ms, 0.5);
      if (stars === 5000 && name === 'different skies') refused5000 = quantile(ms, 0.5);
    }
  }
  const table = {
    title: 'Processor time, ms',
    columns: ['stars each', 'pair', 'answer', 'model', 'minimum', 'median'],
    rows,
  };
  return { table, ms5000, refused5000 };
}

/** What one run, or one part of a run, has measured. */
interface Run {
  seed: number;
  seconds: number;
  same: Outcome[];
  different: Outcome[];
  few: ReturnType<typeof fewStarPairs>[];
  times: ReturnType<typeof timeTable> | null;
}

/** What a run may consist of. */
const THEMES = ['same', 'different', 'few', 'time'] as const;
type Theme = (typeof THEMES)[number];

function measure(
  seed: number,
  from: number,
  pairs: number,
  quick: boolean,
  themes: readonly Theme[],
): Run {
  const start = performance.now();
  const seconds = (): number => Math.round((performance.now() - start) / 1000);
  const progress = (text: string): void => {
    process.stderr.write(`${String(seconds()).padStart(5)} s  ${text}\n`);
  };
  const same: Outcome[] = [];
  const different: Outcome[] = [];
  for (let i = from; i < from + pairs; i++) {
    if (themes.includes('same')) same.push(onePair(seed * SEED_STEP + i));
    if (themes.includes('different')) {
      different.push(differentFields(seed * SEED_STEP + i + 1_000_000));
    }
    if ((i + 1) % 20 === 0) progress(`pair ${i + 1}`);
  }
  const few = themes.includes('few')
    ? FEW_KINDS.map((kind) => fewStarPairs(kind, quick ? 100 : 2000, seed))
    : [];
  const times = themes.includes('time') ? timeTable(quick) : null;
  return { seed, seconds: seconds(), same, different, few, times };
}

function merge(parts: readonly Run[]): Run {
  const [first] = parts;
  if (parts.some(({ seed }) => seed !== first.seed)) throw new Error('parts of different seeds');
  return {
    seed: first.seed,
    seconds: parts.reduce((sum, part) => sum + part.seconds, 0),
    same: parts.flatMap((part) => part.same),
    different: parts.flatMap((part) => part.different),
    few: parts.flatMap((part) => part.few),
    times: parts.find(({ times }) => times !== null)?.times ?? null,
  };
}

function main(args: readonly string[]): void {
  const numberAfter = (name: string, fallback: number): number => {
    const at = args.indexOf(name);
    return at >= 0 ? Number(args[at + 1]) : fallback;
  };
  const quick = args.includes('--quick');
  const pairs = numberAfter('--pairs', quick ? 40 : 500);
  const seed = numberAfter('--seed', 2);
  const at = args.indexOf('--merge');
  const parts = at >= 0 ? args.slice(at + 1).filter((name) => !name.startsWith('--')) : [];
  const only = args.indexOf('--only');
  const run =
    parts.length > 0
      ? merge(parts.map((name) => JSON.parse(readFileSync(name, 'utf8')) as Run))
      : measure(
          seed,
          numberAfter('--from', 0),
          pairs,
          quick,
          only >= 0 ? [args[only + 1] as Theme] : THEMES,
        );
  if (args.includes('--json')) {
    process.stdout.write(`${JSON.stringify({ environment: environment(), ...run }, null, 1)}\n`);
    return;
  }

  const { same, different, few, times, seconds } = run;
  const total = same.length;
  const ms5000 = times?.ms5000 ?? Number.NaN;
  const refused5000 = times?.refused5000 ?? Number.NaN;
  const success = same.filter(({ result }) => result === 'right').length / total;
  const wrong = same.filter(({ result }) => result === 'wrong').length;
  const accepted = different.filter(({ result }) => result === 'accepted').length;
  const verdict = (reached: boolean): string => (reached ? 'reached' : 'missed');
  const targets: TextTable = {
    title: 'Targets',
    columns: ['target', 'value', ''],
    rows: [
      [
        'success on all pairs ≥ 99 %',
        `${fixed(100 * success, 1)} % of ${total}`,
        verdict(success >= TARGET_SUCCESS),
      ],
      ['wrong matches: none', `${wrong} of ${total}`, verdict(wrong === 0)],
      [
        'matches of different skies: none',
        `${accepted} of ${different.length}`,
        verdict(accepted === 0),
      ],
      [
        'handfuls of unrelated stars accepted: none',
        few.map(({ accepted, stated }) => `${accepted} of ${stated.length}`).join(', '),
        few.length === 0 ? 'not measured' : verdict(few.every((one) => one.accepted === 0)),
      ],
      ['5,000 stars each matched in ≤ 1 s', `${fixed(ms5000, 0)} ms`, verdict(ms5000 <= TARGET_MS)],
      [
        '5,000 stars each refused in ≤ 1 s',
        `${fixed(refused5000, 0)} ms`,
        verdict(refused5000 <= TARGET_MS),
      ],
    ],
  };
  const head = `${environmentLine(environment())}, ${total} pairs of one sky, ${different.length} of different skies, seed ${run.seed}, ${seconds} s${quick ? ', quick' : ''}`;
  const tables = [targets, successTable(same), falseTable(different)];
  if (few.length > 0) tables.push(fewTable(few));
  if (times !== null) tables.push(times.table);
  const text = [head, ...tables.map(tableText)].join('\n\n');
  process.stdout.write(`${text}\n`);
  if (args.includes('--save')) {
    if (quick) throw new Error('--save needs a whole run');
    saveTables('match', text);
  }
}

main(process.argv.slice(2));
