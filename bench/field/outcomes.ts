/** Runs one scene through search, shapes, model and causes, and says how the answer compares with what was put in. */
import { findCauses } from '../../src/field/causes.js';
import type { ColourShift } from '../../src/field/colour.js';
import { fitColourShift } from '../../src/field/colour.js';
import { ASTIG, KAPPA, TX, TY } from '../../src/field/laws.js';
import { type FieldFit, fitField } from '../../src/field/model.js';
import type { ShapeColumns } from '../../src/field/model-data.js';
import { defocusUm } from '../../src/field/response.js';
import type { CauseName } from '../../src/field/result.js';
import { measureShapes } from '../../src/field/shapes.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../src/measure/options.js';
import { searchFrame } from '../../src/measure/search-frame.js';
import { type FieldScene, renderField } from './render.js';
import type { Fault, TestScene } from './scenes.js';

export type Verdict = 'right' | 'wrong' | 'undecided' | 'not visible' | 'false alarm' | 'sound';

export interface Amount {
  quantity: 'tilt' | 'curvature';
  growthPx: number;
  ratio: number;
  /** Direction minus truth, degrees; 0 for curvature. */
  directionDeg: number;
  /** Whether the 68 % interval holds the truth; null where the cause was not named. */
  covered: boolean | null;
  /** Half width of that interval, as a share of the truth; null where the cause was not named. */
  halfWidth: number | null;
}

export interface FrameOutcome {
  kind: string;
  leading: CauseName | 'none' | 'cannot tell';
  verdict: Verdict;
  stars: number;
  growthPx: number;
  ellipticity: number;
  amount: Amount | null;
}

/** Where the strength of one fault is at least this many times that of the other, only the stronger may lead. */
const CLEARLY_STRONGER = 1.7;
const VISIBLE_GROWTH_PX = 0.5;
const VISIBLE_ELLIPTICITY = 0.08;
/** Blue against red, px. */
const VISIBLE_SHIFT_PX = 0.5;

/** Causes that may lead. */
function acceptable({ kind, faults, effectPx }: TestScene): readonly CauseName[] {
  // Optics shifted as a whole show both their own off-axis errors and the shift.
  if (kind === 'shifted optics') return ['miscollimation', 'curvature'];
  const ranked = (Object.entries(effectPx) as [Fault, number][]).sort((a, b) => b[1] - a[1]);
  const [first, second] = ranked;
  if (first && second && first[1] > CLEARLY_STRONGER * second[1]) return [first[0]];
  return faults;
}

function isVisible({ kind, effectPx, growthPx, ellipticity }: TestScene): boolean {
  if (kind === 'none') return false;
  if (kind === 'lateral colour' || kind === 'dispersion')
    return Math.max(...Object.values(effectPx)) > VISIBLE_SHIFT_PX;
  return growthPx > VISIBLE_GROWTH_PX || ellipticity > VISIBLE_ELLIPTICITY;
}

function judge(test: TestScene, leading: FrameOutcome['leading']): Verdict {
  if (test.kind === 'none')
    return leading === 'none' || leading === 'cannot tell' ? 'sound' : 'false alarm';
  if (!isVisible(test)) return 'not visible';
  if (leading === 'cannot tell') return 'undecided';
  if (leading === 'none') {
    // Plain defocus blurs all stars alike: "corners sound" is true and says nothing about focus.
    return test.kind === 'defocus' ? 'undecided' : 'wrong';
  }
  return acceptable(test).includes(leading) ? 'right' : 'wrong';
}

function amountOf(
  { kind, scene, growthPx }: TestScene,
  fit: FieldFit,
  interval: (cause: CauseName) => { low: number; high: number } | null,
): Amount | null {
  const um = defocusUm(1, scene.focalRatio, scene.pixelUm);
  const covered = (cause: CauseName, truth: number): boolean | null => {
    const found = interval(cause);
    return found ? found.low <= truth && truth <= found.high : null;
  };
  const halfWidth = (cause: CauseName, truth: number): number | null => {
    const found = interval(cause);
    return found ? (0.5 * (found.high - found.low)) / truth : null;
  };
  if (kind === 'tilt') {
    const truth = 2 * Math.hypot(...scene.tiltUm);
    const angle = (y: number, x: number) => (Math.atan2(y, x) * 180) / Math.PI;
    const off = angle(fit.p[TY], fit.p[TX]) - angle(scene.tiltUm[1], scene.tiltUm[0]);
    return {
      quantity: 'tilt',
      growthPx,
      ratio: (2 * um * Math.hypot(fit.p[TX], fit.p[TY])) / truth,
      directionDeg: off - 180 * Math.round(off / 180),
      covered: covered('tilt', truth),
      halfWidth: halfWidth('tilt', truth),
    };
  }
  if (kind === 'curvature') {
    const truth = Math.hypot(scene.curvatureUm, scene.astigmatismUm);
    return {
      quantity: 'curvature',
      growthPx,
      ratio: (um * Math.hypot(fit.p[KAPPA], fit.p[ASTIG])) / truth,
      directionDeg: 0,
      covered: covered('curvature', truth),
      halfWidth: halfWidth('curvature', truth),
    };
  }
  return null;
}

/** What the causes are found from: kept apart from the frame, so that a run can be repeated without rendering. */
export interface MeasuredScene {
  columns: ShapeColumns;
  colour: ColourShift | null;
  beta: number;
}

export function measureScene(scene: FieldScene): MeasuredScene {
  const { frame } = renderField(scene);
  const searched = searchFrame(frame, { ...DEFAULT_MEASURE_OPTIONS, maxStars: 1500 }, () => {});
  const shapes = measureShapes(searched);
  return { columns: shapes, colour: fitColourShift(shapes, 1), beta: searched.found.beta };
}

function fitScene(scene: FieldScene, columns: ShapeColumns): FieldFit | null {
  return fitField(columns, opticsOf(scene), 1);
}

const opticsOf = ({ focalRatio, pixelUm }: FieldScene) => ({ focalRatio, pixelSizeUm: pixelUm });

export function outcomeOf(
  test: TestScene,
  measured = measureScene(test.scene),
  fit = fitScene(test.scene, measured.columns),
): FrameOutcome {
  const { scene } = test;
  const { columns, colour, beta } = measured;
  const optics = opticsOf(scene);
  const found = findCauses({
    fit,
    stars: columns.n,
    width: scene.width,
    height: scene.height,
    optics,
    colour,
    beta,
    illumination: null,
  });
  return {
    kind: test.kind,
    leading: found.leading,
    verdict: judge(test, found.leading),
    stars: columns.n,
    growthPx: test.growthPx,
    ellipticity: test.ellipticity,
    amount: fit
      ? amountOf(
          test,
          fit,
          (cause) =>
            found.causes.find((one) => one.cause === cause && one.unit === 'µm')?.strength ?? null,
        )
      : null,
  };
}
