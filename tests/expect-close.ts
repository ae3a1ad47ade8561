/** Comparison of numbers with a stated tolerance. Every call names its tolerance; the reason belongs beside the call. */
import { AssertionError } from 'node:assert';

/** |actual − expected| ≤ atol + rtol × |expected|. Both default to 0. */
export interface Tolerance {
  rtol?: number;
  atol?: number;
}

/**
 * Fails unless `actual` equals `expected` within the tolerance. NaN equals NaN, an infinity its like. Arrays are compared
 * element by element, and the message names the worst one.
 */
export function expectClose(
  actual: number | ArrayLike<number>,
  expected: number | ArrayLike<number>,
  tolerance: Tolerance,
  label = 'value',
): void {
  if (typeof actual === 'number' && typeof expected === 'number') {
    if (excess(actual, expected, tolerance) > 0) {
      fail(actual, expected, label, describe(actual, expected, tolerance));
    }
    return;
  }
  if (typeof actual === 'number' || typeof expected === 'number') {
    fail(actual, expected, label, 'one side is a number, the other an array');
  }
  if (actual.length !== expected.length) {
    fail(actual, expected, label, `${actual.length} elements, expected ${expected.length}`);
  }
  let worst = -1;
  let worstExcess = 0;
  let failures = 0;
  for (let i = 0; i < actual.length; i++) {
    const over = excess(actual[i] as number, expected[i] as number, tolerance);
    if (over > 0) failures++;
    if (over > worstExcess) {
      worst = i;
      worstExcess = over;
    }
  }
  if (worst >= 0) {
    const detail = describe(actual[worst] as number, expected[worst] as number, tolerance);
    fail(
      actual,
      expected,
      `${label}[${worst}]`,
      `${detail}; ${failures} of ${actual.length} elements are off, this one most`,
    );
  }
}

/** By how much the difference exceeds the tolerance; 0 when it does not; Infinity where no difference exists. */
function excess(actual: number, expected: number, { rtol = 0, atol = 0 }: Tolerance): number {
  if (Object.is(actual, expected) || actual === expected) return 0;
  const difference = Math.abs(actual - expected);
  if (!Number.isFinite(difference)) return Number.POSITIVE_INFINITY;
  return Math.max(0, difference - (atol + rtol * Math.abs(expected)));
}

function describe(actual: number, expected: number, { rtol = 0, atol = 0 }: Tolerance): string {
  const difference = actual - expected;
  const relative = expected === 0 ? '' : `, ${((100 * difference) / expected).toPrecision(3)} %`;
  return `${actual} is not close to ${expected}: off by ${difference.toPrecision(3)}${relative}; allowed rtol ${rtol}, atol ${atol}`;
}

function fail(actual: unknown, expected: unknown, label: string, detail: string): never {
  throw new AssertionError({ message: `${label}: ${detail}`, actual, expected, operator: 'close' });
}
