/** Turned cameras: a fault of the sensor or of the tube, seen at two camera angles. */
import { fitField } from '../../src/field/model.js';
import { judgeRotation } from '../../src/field/rotation.js';
import { createRandom } from '../../src/stats/random.js';
import { measuredOnce } from './keep.js';
import { type FieldScene, SOUND } from './render.js';

export interface RotationOutcome {
  fault: string;
  angleDeg: number;
  verdict: 'right' | 'wrong' | 'undecided' | 'not seen';
}

const ANGLES = [90, 60, 180] as const;

/** Three faults in turn: a tilted sensor, decentred optics, a drift of the mount. */
export function rotationOutcome(
  seed: number,
  index: number,
  keep: string | null,
): RotationOutcome[] {
  const random = createRandom(seed * 7001 + index);
  const angle = 2 * Math.PI * random();
  const strength = 0.8 + 1.4 * random();
  const kind = index % 3;
  const angleDeg = ANGLES[Math.floor(index / 3) % 3] as number;
  const base: FieldScene = {
    ...SOUND,
    layout: index % 2 ? 'cfa' : 'mono',
    seeingPx: 1.4 + 1.4 * random(),
    focalRatio: 4.5 + 2.5 * random(),
    stars: Math.round(90 + 150 * random()),
    curvatureUm: kind === 0 ? 15 : 8,
  };
  const um = 1.25 * strength * Math.sqrt(base.seeingPx ** 2 + 1.4) * base.focalRatio * base.pixelUm;
  const nm = (0.42 * strength * 2.4 * base.pixelUm * 1000) / (2 * base.focalRatio * 6.93);
  const arrow = (length: number): [number, number] => [
    length * Math.cos(angle),
    length * Math.sin(angle),
  ];
  const fault = (['tilt', 'coma', 'elongation'] as const)[kind] as 'tilt' | 'coma' | 'elongation';
  const first: FieldScene = {
    ...base,
    seed: seed * 500 + 2 * index,
    ...(kind === 0 ? { tiltUm: arrow(um) } : {}),
    ...(kind === 1 ? { comaConstantNm: arrow(nm) } : {}),
    ...(kind === 2 ? { driftPx: arrow(0.7 * strength * base.seeingPx) } : {}),
  };
  const second = { ...first, seed: first.seed + 1, cameraDeg: angleDeg };
  const optics = { focalRatio: base.focalRatio, pixelSizeUm: base.pixelUm };
  const fits = [first, second].map((scene, k) =>
    fitField(measuredOnce(keep, `pair-${seed}-${index}-${k}`, scene).columns, optics, 1),
  );
  const [one, two] = fits;
  if (!one || !two) return [{ fault, angleDeg, verdict: 'not seen' }];
  // The tube's vectors turn by −cameraDeg in the frame; so do the stars.
  const result = judgeRotation(one, two, -angleDeg);
  const wanted = fault === 'tilt' ? result.followsCamera : result.followsTube;
  const other = fault === 'tilt' ? result.followsTube : result.followsCamera;
  const has = (list: typeof wanted): boolean => list.some(({ quantity }) => quantity === fault);
  const verdict = has(wanted)
    ? 'right'
    : has(other)
      ? 'wrong'
      : has(result.undecided)
        ? 'undecided'
        : 'not seen';
  return [{ fault, angleDeg, verdict }];
}
