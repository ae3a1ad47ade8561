/** Second moments and half-flux diameter of one star in a round aperture: no model, so that a ring of light serves as well as a point. */

/** Samples of one channel round a star: offsets from the expected place, values less the background. */
export interface ApertureSamples {
  n: number;
  dx: Float64Array;
  dy: Float64Array;
  value: Float64Array;
}

export interface ApertureSizes {
  x: number;
  y: number;
  flux: number;
  xx: number;
  xy: number;
  yy: number;
  hfdPx: number;
}

const ROUNDS = 4;
/** The aperture may move by this share of its radius. */
const FARTHEST = 0.5;

/**
 * Centroid, moments and half-flux diameter within `radius` of the centroid. HFD here is the diameter that holds half of the
 * light of the aperture.
 * @returns null when the light has no positive sum or its centroid runs away
 */
export function apertureSizes(samples: ApertureSamples, radius: number): ApertureSizes | null {
  const { n, dx, dy, value } = samples;
  let x = 0;
  let y = 0;
  let flux = 0;
  const limit = radius * radius;
  for (let round = 0; round < ROUNDS; round++) {
    let sx = 0;
    let sy = 0;
    flux = 0;
    for (let i = 0; i < n; i++) {
      const u = (dx[i] as number) - x;
      const v = (dy[i] as number) - y;
      if (u * u + v * v > limit) continue;
      flux += value[i] as number;
      sx += u * (value[i] as number);
      sy += v * (value[i] as number);
    }
    if (!(flux > 0)) return null;
    x += sx / flux;
    y += sy / flux;
    if (!(x * x + y * y < limit * FARTHEST * FARTHEST)) return null;
  }
  let xx = 0;
  let xy = 0;
  let yy = 0;
  const inside: number[] = [];
  flux = 0;
  for (let i = 0; i < n; i++) {
    const u = (dx[i] as number) - x;
    const v = (dy[i] as number) - y;
    if (u * u + v * v > limit) continue;
    const w = value[i] as number;
    flux += w;
    xx += u * u * w;
    xy += u * v * w;
    yy += v * v * w;
    inside.push(i);
  }
  if (!(flux > 0 && xx > 0 && yy > 0)) return null;
  const radii = inside.map((i) =>
    Math.sqrt(((dx[i] as number) - x) ** 2 + ((dy[i] as number) - y) ** 2),
  );
  const order = radii.map((_, i) => i).sort((a, b) => (radii[a] as number) - (radii[b] as number));
  let sum = 0;
  let hfdPx = Number.NaN;
  let before = 0;
  for (const k of order) {
    const next = sum + (value[inside[k] as number] as number);
    const r = radii[k] as number;
    if (next >= flux / 2) {
      hfdPx = 2 * (before + ((flux / 2 - sum) / (next - sum)) * (r - before));
      break;
    }
    sum = next;
    before = r;
  }
  return { x, y, flux, xx: xx / flux, xy: xy / flux, yy: yy / flux, hfdPx };
}
