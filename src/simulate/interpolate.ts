/** Six-point interpolation on a regular grid, shared by image placing, true profiles and transfer functions. */

/** Weights of the six-point Lagrange interpolation at fraction t of the interval between the third and fourth point. */
export function lagrangeWeights(t: number, out: Float64Array): void {
  const a = t + 2;
  const b = t + 1;
  const d = t - 1;
  const e = t - 2;
  const f = t - 3;
  out[0] = (b * t * d * e * f) / -120;
  out[1] = (a * t * d * e * f) / 24;
  out[2] = (a * b * d * e * f) / -12;
  out[3] = (a * b * t * e * f) / 12;
  out[4] = (a * b * t * d * f) / -24;
  out[5] = (a * b * t * d * e) / 120;
}
