import { describe, expect, test } from 'vitest';
import {
  count,
  decimalsFor,
  fixed,
  NOT_MEASURED,
  signed,
  significant,
  valueOnly,
  withUncertainty,
} from '../../src/report/number.js';
import { u } from '../helpers/frame-result.js';

describe('rounding to the uncertainty', () => {
  // Particle Data Group, Review of Particle Physics, Introduction, section 5.3: its three examples (from memory):
  // 0.827 ± 0.119 → 0.83 ± 0.12; 0.827 ± 0.367 → 0.8 ± 0.4; 950–999 round up to 1000 and keep two digits.
  test.each([
    [0.827, 0.119, '0.83 ± 0.12'],
    [0.827, 0.367, '0.8 ± 0.4'],
    [0.827, 0.0973, '0.83 ± 0.10'],
    [3.4217, 0.0311, '3.422 ± 0.031'],
    [2181.4, 120, '2180 ± 120'],
    [2181.4, 40, '2180 ± 40'],
    [-12.34, 0.5, '−12.3 ± 0.5'],
    [-0.004, 0.2, '0.00 ± 0.20'],
    [5, 0.00001, '5.000 ± 0.001'],
  ])('%f ± %f is shown as %s', (value, error, text) => {
    expect(withUncertainty(u(value, error))).toBe(text);
  });

  test('a lopsided interval shows both sides', () => {
    expect(withUncertainty({ value: 3.42, low: 3.39, high: 3.51 })).toBe('3.420 +0.090 −0.030');
    expect(withUncertainty({ value: 3.42, low: 3.38, high: 3.51 })).toBe('3.42 +0.09 −0.04');
  });

  test('a side too small for the digits shown is never printed as zero', () => {
    expect(withUncertainty({ value: 3.42, low: 3.4199, high: 3.45 }, 2)).toBe('3.42 +0.03 −0.01');
  });

  test('a value outside its interval shows both ends', () => {
    expect(withUncertainty({ value: 3.4, low: 3.45, high: 3.53 })).toBe('3.40 (3.45…3.53)');
  });

  test('no interval: three digits, no invented error', () => {
    expect(withUncertainty({ value: 3.4567, low: Number.NaN, high: Number.NaN })).toBe('3.46');
    expect(withUncertainty(u(3.4567, 0))).toBe('3.46');
  });

  test('not measured is a dash, never a zero', () => {
    expect(withUncertainty(null)).toBe(NOT_MEASURED);
    expect(withUncertainty(u(Number.NaN, 1))).toBe(NOT_MEASURED);
    expect(valueOnly(null)).toBe(NOT_MEASURED);
    expect(fixed(Number.POSITIVE_INFINITY, 2)).toBe(NOT_MEASURED);
  });

  test('the value alone is rounded the same way', () => {
    expect(valueOnly(u(2181.4321, 1.7))).toBe('2181.4');
    expect(valueOnly(u(2181.4321, 4))).toBe('2181');
    expect(valueOnly(u(4.4321, 0.031), 2)).toBe('4.43');
  });

  test('the most decimals asked for are kept to', () => {
    expect(withUncertainty(u(3.4217, 0.0311), 2)).toBe('3.42 ± 0.03');
  });

  test('uncertainties that say nothing give no places', () => {
    for (const bad of [0, -1, Number.NaN, Number.POSITIVE_INFINITY])
      expect(decimalsFor(bad)).toBeNull();
  });
});

test('significant digits without exponents', () => {
  expect(significant(0.00012345)).toBe('0.000123');
  expect(significant(12345)).toBe('12300');
  expect(significant(8547, 2)).toBe('8500');
  expect(significant(0)).toBe('0');
});

test('signs: plus only in front of numbers above zero, a true minus, no minus zero', () => {
  expect(signed('3.1 ± 0.2')).toBe('+3.1 ± 0.2');
  expect(signed('−3.1')).toBe('−3.1');
  expect(signed('0.0 ± 0.3')).toBe('0.0 ± 0.3');
  expect(signed(NOT_MEASURED)).toBe(NOT_MEASURED);
  expect(fixed(-0.001, 1)).toBe('0.0');
});

test('counts from five digits on are grouped', () => {
  expect(count(9999)).toBe('9999');
  expect(count(1234567)).toBe('1 234 567');
});
