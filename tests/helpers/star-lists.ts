/** Star lists of invented skies as two cameras would record them, with the true pairs. */
import type { StarList } from '../../src/match/star-list.js';
import { createRandom, normal } from '../../src/stats/random.js';

/** One camera's view of the sky plane, whose unit is the pixel of camera A. */
export interface View {
  width: number;
  height: number;
  /** Px per unit of sky, angle, parity. */
  scale: number;
  rotationDeg: number;
  mirrored: boolean;
  /** Sky position of the frame's centre. */
  centreX: number;
  centreY: number;
  /** Real stars wanted in the frame: sets the depth. */
  stars: number;
  /** Further sources that are no stars, as a share of the real ones. */
  spurious: number;
  /** 1 σ of a position along one axis, px. */
  sigmaPx: number;
  /** Radial shift by a lens at the corner, px (third power of the distance). */
  distortionPx: number;
  /** σ of brightness against the sky's, mag: colour and error. */
  scatterMag: number;
  /** Share of the brightest real stars whose brightness is unknown, and that are lost. */
  saturated: number;
  /** Share of stars lost at random: blends, edges. */
  lost: number;
}

export interface StarPair {
  a: StarList;
  b: StarList;
  viewA: View;
  viewB: View;
  /** For each star of A the same star of B, or −1. */
  partner: Int32Array;
  common: number;
}

interface Sky {
  x: number[];
  y: number[];
  magnitude: number[];
}

/** Beyond this many half diagonals the formula of the distortion would fold the sky back into the frame. */
const FIELD_STOP = 1.2;

/** Point of the frame where a place of the sky lands; NaN outside the lens's field. */
function project(view: View, x: number, y: number): [number, number] {
  const angle = (view.rotationDeg * Math.PI) / 180;
  const u = (x - view.centreX) * view.scale;
  const v = (y - view.centreY) * view.scale * (view.mirrored ? -1 : 1);
  let px = Math.cos(angle) * u - Math.sin(angle) * v;
  let py = Math.sin(angle) * u + Math.cos(angle) * v;
  const corner = Math.hypot(view.width, view.height) / 2;
  if (Math.hypot(px, py) > FIELD_STOP * corner) return [Number.NaN, Number.NaN];
  const stretch = 1 + (view.distortionPx / corner) * (Math.hypot(px, py) / corner) ** 2;
  px *= stretch;
  py *= stretch;
  return [px + (view.width - 1) / 2, py + (view.height - 1) / 2];
}

/** Both views of one sky. Stars follow dN/dm ∝ 10^(0.3 m); `place` draws a position within a unit square. */
export function starPair(
  seed: number,
  viewA: View,
  viewB: View,
  place: (random: () => number) => [number, number] = (random) => [random(), random()],
): StarPair {
  const random = createRandom(seed);
  const reach = (view: View): number => Math.hypot(view.width, view.height) / 2 / view.scale;
  const x0 = Math.min(viewA.centreX - reach(viewA), viewB.centreX - reach(viewB));
  const x1 = Math.max(viewA.centreX + reach(viewA), viewB.centreX + reach(viewB));
  const y0 = Math.min(viewA.centreY - reach(viewA), viewB.centreY - reach(viewB));
  const y1 = Math.max(viewA.centreY + reach(viewA), viewB.centreY + reach(viewB));
  const density = (view: View): number =>
    (view.stars * view.scale ** 2) / (view.width * view.height);
  const deepest = Math.max(density(viewA), density(viewB));
  const count = Math.round(deepest * (x1 - x0) * (y1 - y0) * 1.3);
  const sky: Sky = { x: [], y: [], magnitude: [] };
  for (let i = 0; i < count; i++) {
    const [u, v] = place(random);
    sky.x.push(x0 + u * (x1 - x0));
    sky.y.push(y0 + v * (y1 - y0));
    sky.magnitude.push(Math.log10(random() + 1e-12) / 0.3);
  }
  const recordedA = record(sky, viewA, random);
  const recordedB = record(sky, viewB, random);
  const ofSky = new Map<number, number>();
  recordedB.ids.forEach((id, j) => {
    if (id >= 0) ofSky.set(id, j);
  });
  const partner = Int32Array.from(recordedA.ids, (id) => ofSky.get(id) ?? -1);
  return {
    a: recordedA.list,
    b: recordedB.list,
    viewA,
    viewB,
    partner,
    common: partner.reduce((sum, j) => sum + (j >= 0 ? 1 : 0), 0),
  };
}

function record(sky: Sky, view: View, random: () => number): { list: StarList; ids: number[] } {
  const seen: { id: number; x: number; y: number; magnitude: number }[] = [];
  for (let id = 0; id < sky.x.length; id++) {
    const [x, y] = project(view, sky.x[id], sky.y[id]);
    if (!(x >= 0 && y >= 0 && x <= view.width - 1 && y <= view.height - 1)) continue;
    if (random() < view.lost) continue;
    const magnitude = sky.magnitude[id] + view.scatterMag * normal(random);
    seen.push({
      id,
      x: x + view.sigmaPx * normal(random),
      y: y + view.sigmaPx * normal(random),
      magnitude,
    });
  }
  seen.sort((p, q) => p.magnitude - q.magnitude);
  seen.length = Math.min(seen.length, view.stars);
  const saturated = Math.round(view.saturated * seen.length);
  const faintest = seen.at(-1)?.magnitude ?? 0;
  const brightest = seen[0]?.magnitude ?? 0;
  for (let i = 0; i < saturated; i++) seen[i].magnitude = Number.NaN;
  const kept = seen.filter((_, i) => i >= saturated || random() < 0.5);
  const spurious = Math.round(view.spurious * kept.length);
  for (let i = 0; i < spurious; i++) {
    kept.push({
      id: -1,
      x: random() * (view.width - 1),
      y: random() * (view.height - 1),
      magnitude: faintest - random() ** 2 * (faintest - brightest),
    });
  }
  // Order says nothing.
  for (let i = kept.length - 1; i > 0; i--) {
    const j = Math.floor(random() * (i + 1));
    [kept[i], kept[j]] = [kept[j], kept[i]];
  }
  return {
    list: {
      x: Float64Array.from(kept, (star) => star.x),
      y: Float64Array.from(kept, (star) => star.y),
      brightness: Float64Array.from(kept, (star) => star.magnitude),
      magnitudes: true,
      width: view.width,
      height: view.height,
    },
    ids: kept.map((star) => star.id),
  };
}

/** Limits of a random pair. */
export interface PairLimits {
  mostStars: number;
  fewestStars: number;
  mostScale: number;
  leastOverlap: number;
  fewestCommon: number;
}

export const FULL_LIMITS: PairLimits = {
  mostStars: 5000,
  fewestStars: 20,
  mostScale: 6,
  leastOverlap: 0.3,
  fewestCommon: 10,
};

/** Two random views whose frames overlap as asked: `leastOverlap` of the smaller frame or more. */
function randomViews(random: () => number, limits: PairLimits): [View, View] {
  const between = (low: number, high: number): number => low + (high - low) * random();
  const evenly = (low: number, high: number): number => low * (high / low) ** random();
  const view = (scale: number): View => ({
    width: Math.round(evenly(800, 6000)),
    height: Math.round(evenly(800, 6000)),
    scale,
    rotationDeg: between(-180, 180),
    mirrored: random() < 0.5,
    centreX: 0,
    centreY: 0,
    stars: Math.round(evenly(limits.fewestStars, limits.mostStars)),
    spurious: between(0, 0.3),
    sigmaPx: between(0.03, 0.35),
    distortionPx: between(-3, 3),
    scatterMag: between(0, 0.7),
    saturated: between(0, 0.1),
    lost: between(0, 0.1),
  });
  const a = view(1);
  const b = view(evenly(1 / limits.mostScale, limits.mostScale));
  // Slide B away until the wanted share of the smaller frame is left, by bisection.
  const wanted = between(limits.leastOverlap, 1);
  const direction = between(0, 2 * Math.PI);
  let near = 0;
  let far = Math.hypot(a.width, a.height) + Math.hypot(b.width, b.height) / b.scale;
  for (let step = 0; step < 30; step++) {
    const distance = (near + far) / 2;
    b.centreX = distance * Math.cos(direction);
    b.centreY = distance * Math.sin(direction);
    if (overlapOfSmaller(a, b) >= wanted) near = distance;
    else far = distance;
  }
  b.centreX = near * Math.cos(direction);
  b.centreY = near * Math.sin(direction);
  return [a, b];
}

/** Share of the smaller frame's sky that both see, on a 40 × 40 grid of that frame. */
function overlapOfSmaller(a: View, b: View): number {
  const area = (view: View): number => (view.width * view.height) / view.scale ** 2;
  const [small, large] = area(a) <= area(b) ? [a, b] : [b, a];
  const angle = (small.rotationDeg * Math.PI) / 180;
  let inside = 0;
  for (let row = 0; row < 40; row++) {
    for (let column = 0; column < 40; column++) {
      const u = (((column + 0.5) / 40 - 0.5) * small.width) / small.scale;
      const v = (((row + 0.5) / 40 - 0.5) * small.height) / small.scale;
      const x = Math.cos(angle) * u + Math.sin(angle) * v;
      const y = (-Math.sin(angle) * u + Math.cos(angle) * v) * (small.mirrored ? -1 : 1);
      const [px, py] = project(large, small.centreX + x, small.centreY + y);
      if (px >= 0 && py >= 0 && px <= large.width - 1 && py <= large.height - 1) inside++;
    }
  }
  return inside / 1600;
}

/** A random pair within the limits; pairs with too few common stars are drawn again. */
export function randomPair(seed: number, limits: PairLimits = FULL_LIMITS): StarPair {
  const random = createRandom(seed);
  for (;;) {
    const [viewA, viewB] = randomViews(random, limits);
    const pair = starPair(Math.floor(random() * 2 ** 31), viewA, viewB);
    if (pair.common >= limits.fewestCommon) return pair;
  }
}
