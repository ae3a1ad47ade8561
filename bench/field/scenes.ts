/** Random fault scenes for the field benchmark: all causes, strengths from invisible to strong, three samplings, mosaic and mono. */
import { createRandom } from '../../src/stats/random.js';
import { cornerTruth, type FieldScene, SOUND } from './render.js';

export type Fault =
  | 'tilt'
  | 'curvature'
  | 'miscollimation'
  | 'tracking'
  | 'lateral colour'
  | 'dispersion'
  | 'defocus';

export interface TestScene {
  scene: FieldScene;
  /** Faults put in, none for sound optics. */
  faults: Fault[];
  kind: string;
  /** Change that each fault alone makes, px (growth of the worst corner, elongation or shift). */
  effectPx: Partial<Record<Fault, number>>;
  /** Growth of the worst corner over the sound twin, and largest ellipticity. */
  growthPx: number;
  ellipticity: number;
}

/** Kinds and how many of 100. */
const KINDS: readonly [string, number][] = [
  ['none', 16],
  ['tilt', 16],
  ['curvature', 12],
  ['design coma', 4],
  ['constant coma', 10],
  ['shifted optics', 8],
  ['tracking', 9],
  ['lateral colour', 4],
  ['dispersion', 4],
  ['defocus', 5],
  ['mixed', 12],
];

const SAMPLINGS = [1.3, 2.1, 3.3] as const;

type Random = () => number;

const between = (random: Random, low: number, high: number): number =>
  low + (high - low) * random();
const logBetween = (random: Random, low: number, high: number): number =>
  low * (high / low) ** random();
const arrow = (random: Random, length: number): [number, number] => {
  const angle = 2 * Math.PI * random();
  return [length * Math.cos(angle), length * Math.sin(angle)];
};

/** A fault's part of the scene; `strength` about 0.4 (invisible) to 2.5 (strong). */
function addFault(fault: string, strength: number, s: FieldScene, random: Random): FieldScene {
  // Blur discs count against the width of the star.
  const width = Math.sqrt(s.seeingPx ** 2 + 1.4);
  const um = 1.25 * strength * width * s.focalRatio * s.pixelUm;
  const nm = (0.42 * strength * width * s.pixelUm * 1000) / (2 * s.focalRatio * 6.93);
  switch (fault) {
    case 'tilt':
      return { ...s, tiltUm: arrow(random, um), defocusUm: between(random, -0.4, 0.4) * um };
    case 'curvature': {
      const bend = um * 1.15;
      return {
        ...s,
        curvatureUm: bend,
        defocusUm: -between(random, 0, 0.55) * bend,
        astigmatismUm: random() < 0.5 ? 0 : between(random, -0.5, 0.5) * bend,
      };
    }
    case 'design coma':
      return { ...s, comaCornerNm: 1.4 * nm * (random() < 0.5 ? -1 : 1) };
    case 'constant coma':
      return { ...s, comaConstantNm: arrow(random, nm) };
    case 'shifted optics': {
      const shift = arrow(random, between(random, 0.2, 0.5));
      return {
        ...s,
        centre: shift,
        curvatureUm: um,
        defocusUm: -between(random, 0, 0.3) * um,
        astigmatismUm: between(random, 0.2, 0.5) * um,
        comaCornerNm: 1.2 * nm,
      };
    }
    case 'tracking':
      return { ...s, driftPx: arrow(random, 0.75 * strength * width) };
    case 'lateral colour':
      return { ...s, lateralPx: 0.8 * strength * (random() < 0.5 ? -1 : 1) };
    case 'dispersion':
      return { ...s, dispersionPx: arrow(random, 0.8 * strength) };
    case 'defocus':
      return { ...s, defocusUm: 1.3 * um };
    default:
      return s;
  }
}

const FAULT_OF: Readonly<Record<string, Fault>> = {
  tilt: 'tilt',
  curvature: 'curvature',
  'design coma': 'curvature',
  'constant coma': 'miscollimation',
  'shifted optics': 'miscollimation',
  tracking: 'tracking',
  'lateral colour': 'lateral colour',
  dispersion: 'dispersion',
  defocus: 'defocus',
};

const MIXABLE = ['tilt', 'curvature', 'constant coma', 'tracking'] as const;

function pickKind(at: number): string {
  let rest = at * KINDS.reduce((sum, [, share]) => sum + share, 0);
  for (const [kind, share] of KINDS) {
    rest -= share;
    if (rest < 0) return kind;
  }
  return 'none';
}

/** Scene `index` of a set; the same seed gives the same set. */
export function testScene(seed: number, index: number): TestScene {
  const random = createRandom(seed * 100003 + index * 7919);
  for (let skip = 0; skip < 3; skip++) random();
  // A golden-ratio walk spreads the kinds evenly whatever the number of scenes.
  const kind = pickKind((0.5 + index * 0.6180339887498949) % 1);
  const colour = kind === 'lateral colour' || kind === 'dispersion';
  const sampling = SAMPLINGS[index % 3] as number;
  const base: FieldScene = {
    ...SOUND,
    seed: seed * 1000 + index,
    layout: colour || random() < 0.5 ? 'cfa' : 'mono',
    width: random() < 0.5 ? 1000 : 840,
    height: random() < 0.5 ? 750 : 700,
    focalRatio: between(random, 4, 7.5),
    focalLengthMm: 440,
    seeingPx: sampling * between(random, 0.9, 1.1),
    stars: Math.round(logBetween(random, 60, 330)),
    sky: logBetween(random, 40, 400),
    gradient: random() < 0.25 ? between(random, -1.6, 1.6) : 0,
    nebula: random() < 0.15 ? between(random, 0.5, 2) : 0,
    clustered: random() < 0.15 ? 0.4 : 0,
    jitterPx: between(random, 0.1, 0.5),
    sphericalNm: between(random, -20, 20),
    blueFocusUm: between(random, 0, 60),
    redFocusUm: between(random, 0, 30),
    // A little of everything, as every real telescope has.
    comaConstantNm: arrow(random, 3 * random()),
    driftPx: arrow(random, 0.25 * random()),
    tiltUm: arrow(random, 8 * random()),
    curvatureUm: 10 * random(),
  };
  const strength = logBetween(random, 0.45, 2.6);
  const kinds = kind === 'none' ? [] : kind === 'mixed' ? twoOf(random) : [kind];
  let scene = base;
  const alone: FieldScene[] = [];
  for (const one of kinds) {
    const part = one === kind ? strength : logBetween(random, 0.6, 2.2);
    const seedPart = random();
    const again = (): Random => createRandom(Math.floor(seedPart * 4294967295));
    scene = addFault(one, part, scene, again());
    alone.push(addFault(one, part, base, again()));
  }
  const sound = cornerTruth(base);
  const truth = cornerTruth(scene);
  const effectPx: TestScene['effectPx'] = {};
  kinds.forEach((one, k) => {
    const single = cornerTruth(alone[k] as FieldScene);
    const growth = single.worstCornerFwhmPx - sound.worstCornerFwhmPx;
    const long = 2 * single.ellipticity * single.worstCornerFwhmPx;
    const shift = 1.5 * Math.max(Math.abs(scene.lateralPx), Math.hypot(...scene.dispersionPx));
    const fault = FAULT_OF[one] as Fault;
    effectPx[fault] = fault === 'tracking' ? long : colour ? shift : growth;
  });
  return {
    scene,
    faults: kinds.map((one) => FAULT_OF[one] as Fault),
    kind,
    effectPx,
    growthPx: truth.worstCornerFwhmPx - sound.worstCornerFwhmPx,
    ellipticity: truth.ellipticity,
  };
}

function twoOf(random: Random): string[] {
  const first = MIXABLE[Math.floor(random() * MIXABLE.length)] as string;
  for (;;) {
    const second = MIXABLE[Math.floor(random() * MIXABLE.length)] as string;
    if (second !== first) return [first, second];
  }
}
