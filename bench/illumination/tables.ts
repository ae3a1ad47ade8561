/** Tables of the fall-off benchmark. */
import { fixed, type TextTable } from '../helpers/text-table.js';
import { type Measured, QUANTITIES, type SkyOutcome } from './outcomes.js';
import { KINDS } from './skies.js';

const LEAST_COVERAGE = 0.6;
const MOST_COVERAGE = 0.76;
/** Skies that are no plain sky: shown apart. */
const HARD: readonly SkyOutcome['kind'][] = [
  'nebula aside',
  'galaxy in the middle',
  'cluster over the frame',
];

function quantile(values: readonly number[], p: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))] ?? Number.NaN;
}

function covered(of: readonly Measured[]): number {
  return of.filter(({ truth, low, high }) => truth >= low && truth <= high).length / of.length;
}

const halfWidth = ({ low, high }: Measured): number => 0.5 * (high - low);

function numbersOf(of: readonly Measured[]): string[] {
  const errors = of.map(({ value, truth }) => value - truth);
  return [
    fixed(quantile(errors, 0.5), 2),
    fixed(quantile(errors.map(Math.abs), 0.68), 2),
    fixed(quantile(errors.map(Math.abs), 0.95), 2),
    fixed(quantile(of.map(halfWidth), 0.5), 2),
    fixed(covered(of), 2),
  ];
}

const NUMBERS = ['bias', '68 % of errors', '95 %', 'given, 1 σ', 'coverage'];

function quantityTable(title: string, outcomes: readonly SkyOutcome[], judged: boolean): TextTable {
  return {
    title,
    columns: ['quantity', 'values', ...NUMBERS, ...(judged ? ['60–76 %'] : [])],
    rows: QUANTITIES.map((quantity) => {
      const of = outcomes.flatMap(({ measured }) =>
        measured.filter((m) => m.quantity === quantity),
      );
      const share = covered(of);
      const reached = share >= LEAST_COVERAGE && share <= MOST_COVERAGE;
      return [
        quantity,
        of.length,
        ...numbersOf(of),
        ...(judged ? [of.length === 0 ? '–' : reached ? 'reached' : 'missed'] : []),
      ];
    }),
  };
}

function kindTable(outcomes: readonly SkyOutcome[]): TextTable {
  return {
    title: 'Mean corner by kind of sky',
    columns: ['sky', 'skies', 'measured', ...NUMBERS],
    rows: KINDS.map((kind) => {
      const own = outcomes.filter((outcome) => outcome.kind === kind);
      const of = own.flatMap(({ measured }) =>
        measured.filter((m) => m.quantity === 'mean corner'),
      );
      return [kind, own.length, of.length, ...numbersOf(of)];
    }),
  };
}

function radiusTable(outcomes: readonly SkyOutcome[]): TextTable {
  return {
    title: 'Coverage by kind of sky',
    detail: true,
    columns: ['sky', ...QUANTITIES],
    rows: KINDS.map((kind) => [
      kind,
      ...QUANTITIES.map((quantity) => {
        const of = outcomes
          .filter((outcome) => outcome.kind === kind)
          .flatMap(({ measured }) => measured.filter((m) => m.quantity === quantity));
        return of.length === 0 ? null : `${fixed(covered(of), 2)} of ${of.length}`;
      }),
    ]),
  };
}

function verdictTable(
  title: string,
  outcomes: readonly SkyOutcome[],
  truth: (outcome: SkyOutcome) => string,
  told: (outcome: SkyOutcome) => string,
  truths: readonly string[],
  answers: readonly string[],
): TextTable {
  return {
    title,
    columns: ['true', 'skies', ...answers],
    rows: truths.map((name) => {
      const of = outcomes.filter((outcome) => truth(outcome) === name);
      return [
        name,
        of.length,
        ...answers.map((answer) => of.filter((outcome) => told(outcome) === answer).length),
      ];
    }),
  };
}

export function illuminationTables(outcomes: readonly SkyOutcome[]): TextTable[] {
  const plain = outcomes.filter(({ kind }) => !HARD.includes(kind));
  const hard = outcomes.filter(({ kind }) => HARD.includes(kind));
  const flatTruth = ({ kind }: SkyOutcome): string =>
    kind === 'flat applied' ? 'flat applied' : 'raw';
  return [
    quantityTable(
      'All skies: points for light and slope, hundredths of the half diagonal for lengths',
      outcomes,
      true,
    ),
    quantityTable('Skies without nebula, galaxy or cluster', plain, false),
    quantityTable('Skies with nebula, galaxy or cluster', hard, false),
    kindTable(outcomes),
    radiusTable(outcomes),
    verdictTable(
      'Does the lit circle fill the sensor?',
      outcomes.filter(({ status }) => status === 'measured'),
      ({ fillsTruth }) => fillsTruth,
      ({ fills }) => fills,
      ['yes', 'no'],
      ['yes', 'no', 'cannot tell'],
    ),
    verdictTable(
      'Was a flat applied?',
      outcomes,
      flatTruth,
      ({ flat }) => flat,
      ['raw', 'flat applied'],
      ['raw', 'flat applied', 'cannot tell'],
    ),
    verdictTable(
      'Is the fall-off given?',
      outcomes,
      ({ kind }) => kind,
      ({ status }) => status,
      KINDS,
      ['measured', 'flat applied', 'cannot tell'],
    ),
  ];
}
