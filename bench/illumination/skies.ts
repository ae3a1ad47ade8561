/** Random skies of known fall-off: what is put in, and what is true of it. */
import { createRandom, normal } from '../../src/stats/random.js';
import { cos4, coveredPupil, type SkyOptions, tabulated } from '../../tests/helpers/sky-frame.js';

/** What a sky is a test of. */
export const KINDS = [
  'quadratic',
  'cos4',
  'hard edge',
  'beside the middle',
  'gradient',
  'nebula aside',
  'galaxy in the middle',
  'cluster over the frame',
  'even',
  'flat applied',
] as const;
export type SkyKind = (typeof KINDS)[number];

export interface TestSky {
  kind: SkyKind;
  options: SkyOptions;
  /** Level of no light as told, ADU, and its 1 σ; the real one is in `options`. */
  toldPedestalAdu: number;
  pedestalErrorAdu: number;
  /** What the lens does, per cent of the light at the centre of illumination. */
  corners: number[];
  /** Radii of 90, 75 and 50 %, half diagonals; null = beyond the farthest corner. */
  radii: (number | null)[];
}

const SIZES = [
  [900, 600],
  [1200, 800],
  [800, 800],
] as const;
/** Weights of the kinds in one round: the plain ones carry the coverage. */
const ROUND: readonly SkyKind[] = [
  'quadratic',
  'cos4',
  'hard edge',
  'beside the middle',
  'gradient',
  'nebula aside',
  'quadratic',
  'galaxy in the middle',
  'hard edge',
  'cluster over the frame',
  'gradient',
  'flat applied',
  'beside the middle',
  'even',
  'cos4',
];

/** Sky `index` of a seed. */
export function testSky(seed: number, index: number): TestSky {
  const random = createRandom(1_000_003 * seed + index);
  const between = (low: number, high: number): number => low + (high - low) * random();
  const kind = ROUND[index % ROUND.length];
  const [width, height] = SIZES[Math.floor(random() * SIZES.length)];
  const fallOff = tabulated(fallOffOf(kind, between));
  const direction = between(0, 2 * Math.PI);
  const shift = kind === 'beside the middle' ? between(0.08, 0.22) : Math.abs(between(-0.04, 0.04));
  const slope = kind === 'gradient' ? between(0.08, 0.25) : between(0, 0.05);
  const slopeAngle = between(0, 2 * Math.PI);
  const centre: [number, number] = [shift * Math.cos(direction), shift * Math.sin(direction)];
  const pedestal = between(200, 800);
  const pedestalErrorAdu = random() < 0.5 ? 0 : 10 ** between(-0.5, 1);
  const options: SkyOptions = {
    width,
    height,
    layout: random() < 0.5 ? 'mono' : 'cfa',
    fallOff,
    centre,
    skyElectrons: 10 ** between(1.9, 3.7),
    gradient: [slope * Math.cos(slopeAngle), slope * Math.sin(slopeAngle)],
    nebula: nebulaOf(kind, between),
    stars: Math.round(between(30, 400)),
    cluster:
      kind === 'cluster over the frame'
        ? { stars: Math.round(between(300, 1500)), sigma: between(0.2, 0.4) }
        : null,
    gain: 10 ** between(-0.5, 0.4),
    readNoise: between(1.5, 8),
    pedestal,
    flat: kind === 'flat applied' ? fallOff : null,
    seed: 7_000_003 * seed + index,
  };
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const distances = [-1, 1].flatMap((v) =>
    [-1, 1].map((u) =>
      Math.sqrt(
        ((u * width) / 2 / half - centre[0]) ** 2 + ((v * height) / 2 / half - centre[1]) ** 2,
      ),
    ),
  );
  const reach = Math.max(...distances);
  return {
    kind,
    options,
    // A flat-divided frame has its pedestal subtracted.
    toldPedestalAdu: options.flat === null ? pedestal + pedestalErrorAdu * normal(random) : 0,
    pedestalErrorAdu: options.flat === null ? pedestalErrorAdu : 0,
    corners: distances.map((distance) => 100 * fallOff(distance)),
    radii: [0.9, 0.75, 0.5].map((level) => radiusOf(fallOff, level, reach)),
  };
}

type Between = (low: number, high: number) => number;

function fallOffOf(kind: SkyKind, between: Between): (distance: number) => number {
  if (kind === 'even') return () => 1;
  if (kind === 'cos4') return cos4(between(1.2, 3.5));
  const depth = kind === 'hard edge' ? between(0, 0.1) : between(0.08, 0.5);
  const natural = (distance: number): number => Math.max(0, 1 - depth * distance * distance);
  const hard = kind === 'hard edge' || (kind === 'beside the middle' && between(0, 1) < 0.5);
  if (!hard) return natural;
  const start = between(0.4, 0.85);
  const end = start + between(0.2, 0.8);
  // Every third edge is an S-shaped ramp: no law of two circles, so that the fit is not only tried on its own profile.
  const covered = between(0, 1) < 0.33 ? ramp(start, end) : coveredPupil(start, end);
  const mild = (distance: number): number => Math.max(0, 1 - 0.2 * depth * distance * distance);
  return (distance) => mild(distance) * covered(distance);
}

/** Cubic S from full light to darkness. */
function ramp(start: number, end: number): (distance: number) => number {
  return (distance) => {
    const t = Math.min(1, Math.max(0, (distance - start) / (end - start)));
    return 1 - t * t * (3 - 2 * t);
  };
}

function nebulaOf(kind: SkyKind, between: Between): SkyOptions['nebula'] {
  const angle = between(0, 2 * Math.PI);
  if (kind === 'nebula aside') {
    const distance = between(0.3, 0.75);
    return {
      x: distance * Math.cos(angle),
      y: distance * Math.sin(angle),
      sigma: between(0.08, 0.25),
      peak: between(0.05, 0.5),
    };
  }
  if (kind === 'galaxy in the middle') {
    return { x: 0.02, y: -0.03, sigma: between(0.05, 0.18), peak: between(0.1, 1) };
  }
  if (kind === 'cluster over the frame') {
    return { x: 0, y: 0, sigma: between(0.25, 0.42), peak: between(0.2, 1) };
  }
  return null;
}

function radiusOf(
  fallOff: (distance: number) => number,
  level: number,
  reach: number,
): number | null {
  if (fallOff(reach) > level) return null;
  let low = 0;
  let high = reach;
  for (let i = 0; i < 50; i++) {
    const middle = 0.5 * (low + high);
    if (fallOff(middle) > level) low = middle;
    else high = middle;
  }
  return 0.5 * (low + high);
}
