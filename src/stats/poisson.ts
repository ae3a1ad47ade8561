/** Seeded Poisson deviates. */
import { normal } from './random.js';

/** Below this mean the multiplication of uniforms is the faster exact method. */
const SMALL_MEAN = 10;

/** Above this mean a rounded normal deviate differs from Poisson by less than one part in 10⁴ in skewness. */
const LARGE_MEAN = 1e8;

/**
 * One Poisson deviate of mean `mean` ≥ 0; `random` as from `createRandom`.
 *
 * Exact methods: products of uniforms below 10 (Knuth, The Art of Computer Programming 2, 3.4.1), transformed
 * rejection PTRS above (Hörmann 1993, Insurance: Mathematics and Economics 12, 39), a rounded normal above 1e8.
 */
export function poisson(mean: number, random: () => number): number {
  if (!(mean > 0)) return 0;
  if (mean < SMALL_MEAN) {
    const limit = Math.exp(-mean);
    let count = 0;
    for (let product = random(); product > limit; product *= random()) count++;
    return count;
  }
  if (mean > LARGE_MEAN) return Math.round(mean + Math.sqrt(mean) * normal(random));
  const root = Math.sqrt(mean);
  const b = 0.931 + 2.53 * root;
  const a = -0.059 + 0.02483 * b;
  const inverseAlpha = 1.1239 + 1.1328 / (b - 3.4);
  const vr = 0.9277 - 3.6224 / (b - 2);
  const logMean = Math.log(mean);
  for (;;) {
    const u = random() - 0.5;
    const v = random();
    const us = 0.5 - Math.abs(u);
    const k = Math.floor(((2 * a) / us + b) * u + mean + 0.43);
    if (us >= 0.07 && v <= vr) return k;
    if (k < 0 || (us < 0.013 && v > us)) continue;
    const left = Math.log((v * inverseAlpha) / (a / (us * us) + b));
    if (left <= k * logMean - mean - logFactorial(k)) return k;
  }
}

/** ln k! for integer k ≥ 0: exact products below 10, Stirling's series above (error below 1e-10). */
function logFactorial(k: number): number {
  if (k < 10) {
    let product = 1;
    for (let i = 2; i <= k; i++) product *= i;
    return Math.log(product);
  }
  const n = k + 1;
  const square = 1 / (n * n);
  return (
    (n - 0.5) * Math.log(n) -
    n +
    0.9189385332046727 +
    (1 / 12 - (1 / 360 - square / 1260) * square) / n
  );
}
