/** Fitted star shapes as the corrected circle wants them: recorded sizes and ellipticity. */
import { ellipticityOf } from './cells.js';
import type { CircleStars } from './corrected-circle.js';
import type { ShapeColumns } from './model-data.js';
import { fwhmOfSize } from './response.js';

/**
 * Sizes and ellipticities of the stars.
 * @param recordedOffset what T lacks of the recorded star's, px²
 */
export function circleStarsOf(shapes: ShapeColumns, recordedOffset: number): CircleStars {
  const { n, width, height, x, y } = shapes;
  const stars: CircleStars = {
    n,
    width,
    height,
    x: x.subarray(0, n),
    y: y.subarray(0, n),
    fwhmPx: new Float64Array(n),
    fwhmErrorPx: new Float64Array(n),
    e1: new Float64Array(n),
    e2: new Float64Array(n),
    ellipticityError: new Float64Array(n),
  };
  for (let i = 0; i < n; i++) {
    const t = (shapes.t[i] as number) + recordedOffset;
    const fwhm = fwhmOfSize(t);
    stars.fwhmPx[i] = fwhm;
    // FWHM² is proportional to T.
    stars.fwhmErrorPx[i] = (0.5 * fwhm * (shapes.tError[i] as number)) / t;
    const [e1, e2] = ellipticityOf(t, shapes.q1[i] as number, shapes.q2[i] as number);
    stars.e1[i] = e1;
    stars.e2[i] = e2;
    // e is half of Q/T while both are small.
    stars.ellipticityError[i] = (0.5 * (shapes.qError[i] as number)) / t;
  }
  return stars;
}
