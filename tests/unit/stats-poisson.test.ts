import { describe, expect, it } from 'vitest';
import { poisson } from '../../src/stats/poisson.js';
import { createRandom } from '../../src/stats/random.js';

describe('Poisson deviates', () => {
  it.each([0.3, 3, 9.9, 10.1, 40, 1000, 2e5])(
    'mean and variance both equal the mean, %d',
    (mean) => {
      const random = createRandom(7);
      const count = 40000;
      let sum = 0;
      let squares = 0;
      for (let i = 0; i < count; i++) {
        const value = poisson(mean, random);
        sum += value - mean;
        squares += (value - mean) ** 2;
      }
      // Standard errors: √(λ/n) of the mean, λ√((2 + 1/λ)/n) of the variance (fourth central moment 3λ² + λ); 4.5 σ.
      expect(Math.abs(sum / count)).toBeLessThan(4.5 * Math.sqrt(mean / count));
      expect(Math.abs(squares / count - mean)).toBeLessThan(
        4.5 * mean * Math.sqrt((2 + 1 / mean) / count),
      );
    },
  );

  it.each([2.5, 12, 25])('frequencies follow e^(−λ) λ^k / k!, mean %d', (mean) => {
    const random = createRandom(3);
    const count = 50000;
    const seen = new Map<number, number>();
    for (let i = 0; i < count; i++) {
      const k = poisson(mean, random);
      seen.set(k, (seen.get(k) ?? 0) + 1);
    }
    let chiSquare = 0;
    let degrees = 0;
    let probability = Math.exp(-mean);
    for (let k = 0; k < 100; k++) {
      if (k > 0) probability *= mean / k;
      if (probability * count < 20) continue;
      chiSquare += ((seen.get(k) ?? 0) - probability * count) ** 2 / (probability * count);
      degrees++;
    }
    // χ² has mean n and variance 2n: 4 σ.
    expect(chiSquare).toBeLessThan(degrees + 4 * Math.sqrt(2 * degrees));
    expect(degrees).toBeGreaterThan(8);
  });

  it('is 0 for a mean of 0, and the same for the same seed', () => {
    expect(poisson(0, createRandom(1))).toBe(0);
    const draw = () => Array.from({ length: 20 }, (_, i) => poisson(5 * i, createRandom(i)));
    expect(draw()).toEqual(draw());
  });
});
