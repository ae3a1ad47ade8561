import { expect, test } from 'vitest';
import { expectClose } from '../expect-close.js';

test('passes within the tolerance and fails outside', () => {
  expectClose(1.01, 1, { rtol: 0.011 });
  expectClose(1.01, 1, { atol: 0.011 });
  expectClose(Number.NaN, Number.NaN, {});
  expectClose(Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, {});
  expect(() => expectClose(1.02, 1, { rtol: 0.01 })).toThrow(/off by 0.02.*2\.00 %.*rtol 0.01/);
  expect(() => expectClose(Number.NaN, 1, { rtol: 1e9 })).toThrow();
  expect(() => expectClose(1, Number.NaN, { rtol: 1e9 })).toThrow();
  expect(() => expectClose(Number.POSITIVE_INFINITY, 1, { rtol: 1e9 })).toThrow();
});

test('arrays: the worst element is named', () => {
  expectClose([1, 2], Float32Array.from([1, 2]), {});
  expect(() => expectClose([1, 2.1, 3.5], [1, 2, 3], { atol: 0.01 }, 'sizes')).toThrow(
    /sizes\[2\].*2 of 3/,
  );
  expect(() => expectClose([1], [1, 2], {})).toThrow(/1 elements, expected 2/);
  expect(() => expectClose(1, [1], {})).toThrow(/array/);
});
