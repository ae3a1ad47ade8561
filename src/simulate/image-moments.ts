/** Simple measures of an oversampled star image: how bright it still is at a radius, where its light is centred. */

/** Highest brightness per px² at or beyond each whole-pixel radius, from 24 spokes. */
export function brightnessEnvelope(
  image: Float32Array,
  size: number,
  perPixel: number,
): Float64Array {
  const last = Math.floor(size / 2 / perPixel) - 2;
  const out = new Float64Array(last + 1);
  const spokes = 24;
  for (let radius = 0; radius <= last; radius++)
    for (let spoke = 0; spoke < spokes; spoke++) {
      const angle = (2 * Math.PI * spoke) / spokes;
      const x = Math.round(size / 2 + radius * perPixel * Math.cos(angle));
      const y = Math.round(size / 2 + radius * perPixel * Math.sin(angle));
      out[radius] = Math.max(out[radius], image[y * size + x] * perPixel * perPixel);
    }
  for (let radius = last - 1; radius >= 0; radius--)
    out[radius] = Math.max(out[radius], out[radius + 1]);
  return out;
}

/** Centre of light about (size/2, size/2), px. */
export function firstMoments(
  image: Float32Array,
  size: number,
  perPixel: number,
): [number, number] {
  let sum = 0;
  let sumX = 0;
  let sumY = 0;
  for (let y = 0, at = 0; y < size; y++) {
    let row = 0;
    for (let x = 0; x < size; x++, at++) {
      row += image[at];
      sumX += image[at] * (x - size / 2);
    }
    sum += row;
    sumY += row * (y - size / 2);
  }
  return [sumX / sum / perPixel, sumY / sum / perPixel];
}
